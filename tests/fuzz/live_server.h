/// A real gyreboxd for a fuzz target. It ends with this process, however this process ends.
#pragma once

#include <openssl/ssl.h>

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "certificate.h"
#include "check.h"
#include "http2_peer.h"
#include "process.h"
#include "temporary_directory.h"

namespace gyrebox::test {

/// GYREBOX_FUZZ_SERVER names another program than the one built here.
inline std::string ServerProgram() {
  const char* other = std::getenv("GYREBOX_FUZZ_SERVER");
  return other != nullptr ? other : GYREBOXD;
}

class LiveServer {
 public:
  /// With TLS calls need a token; without it calls through the Unix socket do not.
  explicit LiveServer(bool tls) {
    const std::string data = directory_.path() + "/data", port_file = directory_.path() + "/port";
    std::vector<std::string> command = {"/usr/bin/setpriv", "--pdeathsig", "KILL", "/usr/bin/env",
                                        "XDG_RUNTIME_DIR=" + directory_.path()};
    command.insert(command.end(),
                   {ServerProgram(), "--data", data, "--listen", "127.0.0.1:0", "--device", "cpu", "--threads", "1",
                    "--port-file", port_file, "--streams", "1000000", "--requests-per-second", "1000000"});
    if (tls) {
      const access::TlsPair pair = MakeCertificate();
      command.insert(command.end(), {"--tls-cert", directory_.Write("cert.pem", pair.certificate), "--tls-key",
                                     directory_.Write("key.pem", pair.key)});
      token_ = Run({ServerProgram(), "--data", data, "--make-admin", "anna"}).out;
      Check(!token_.empty(), "no token for the first admin");
      token_.pop_back();
      context_ = SSL_CTX_new(TLS_client_method());
    }
    process_.emplace(command, directory_.path() + "/out", directory_.path() + "/error");
    for (int i = 0; i < 600 && Running() && !std::filesystem::exists(port_file); ++i) Pause();
    address_ = ReadAll(port_file);
    Check(!address_.empty(), Log().c_str());
    address_.pop_back();
    const std::string socket = data + "/gyreboxd.sock";
    open_address_ = !tls && std::filesystem::exists(socket) ? "unix:" + socket : address_;
  }
  ~LiveServer() { SSL_CTX_free(context_); }

  /// Address where calls need a token.
  const std::string& address() const { return address_; }
  /// Address where they need none, for a server without TLS.
  const std::string& open_address() const { return open_address_; }
  SSL_CTX* tls() const { return context_; }
  const std::string& token() const { return token_; }
  bool Running() const { return process_->Running(); }
  std::string Log() const { return ReadAll(directory_.path() + "/out") + ReadAll(directory_.path() + "/error"); }

  /// True if a new client gets a response within 90 seconds.
  bool Answers() const {
    for (int i = 0; i < 15 && Running(); ++i) {
      if (AnswersAtOnce()) return true;
      Pause();
    }
    return false;
  }

  /// The HTTP/2 headers of a call, without further metadata.
  std::string CallHead(const std::string& path, bool with_token) const {
    std::string head = HpackField(":method", "POST") + HpackField(":scheme", context_ != nullptr ? "https" : "http") +
                       HpackField(":path", path) + HpackField(":authority", "localhost") +
                       HpackField("te", "trailers") + HpackField("content-type", "application/grpc");
    if (with_token && !token_.empty()) head += HpackField("authorization", "Bearer " + token_);
    return head;
  }

 private:
  static void Pause() { std::this_thread::sleep_for(std::chrono::milliseconds(100)); }

  bool AnswersAtOnce() const {
    Http2Peer peer(open_address_, context_);
    peer.Send(kPreface + Frame(kSettings, 0, 0, ""));
    peer.Send(Frame(kHeaders, kEndHeaders, 1, CallHead("/gyrebox.v1.MachineService/GetMachine", true)) +
              Frame(kData, kEndStream, 1, GrpcMessage("", 0)));
    bool answered = false;
    peer.Receive(
        std::chrono::seconds(5),
        [&](uint8_t type, uint8_t, const std::string& payload) { answered |= type == kData && !payload.empty(); },
        [&] { return answered; });
    return answered;
  }

  TemporaryDirectory directory_;
  SSL_CTX* context_ = nullptr;
  std::string token_, address_, open_address_;
  std::optional<Process> process_;
};

}  // namespace gyrebox::test
