#include "api/start_checks.h"

#include "access/listening.h"

namespace gyrebox::api {

static std::string HostOf(const std::string& listen) { return listen.substr(0, listen.rfind(':')); }

static bool IsLoopback(const std::string& host) {
  const bool dotted = host.find_first_not_of("0123456789.") == std::string::npos;
  return host == "localhost" || host == "[::1]" || (host.starts_with("127.") && dotted);
}

absl::Status CheckListen(const std::string& listen, bool tls) {
  if (listen.rfind(':') == std::string::npos) return access::NoPort(listen);
  if (tls || IsLoopback(HostOf(listen))) return absl::OkStatus();
  return absl::InvalidArgumentError(HostOf(listen) +
                                    " can be reached from other machines, so calls must be encrypted " +
                                    "and show a token: give --tls-cert and --tls-key, and make a first admin with " +
                                    "--make-admin NAME; or listen on 127.0.0.1");
}

absl::Status CheckAdmin(access::Authenticator& authenticator) {
  if (!authenticator.asks_for_tokens() || authenticator.HasAdmin()) return absl::OkStatus();
  return absl::FailedPreconditionError(
      "no admin has a valid token, so nobody could let users in; make one with "
      "gyreboxd --data DIR --make-admin NAME, then start again");
}

}  // namespace gyrebox::api
