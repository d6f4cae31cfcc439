#include "lib/connection.h"

#include <grpcpp/grpcpp.h>

#include <vector>

#include "lib/call.h"

namespace gyrebox::client {

/// A page has about 1 MiB; a study of an older version may exceed that.
constexpr int kMaxMessageBytes = 16 << 20;

static std::shared_ptr<grpc::ChannelCredentials> CredentialsOf(const Endpoint& endpoint) {
  if (endpoint.authority.empty()) return grpc::InsecureChannelCredentials();
  grpc::SslCredentialsOptions options;
  options.pem_root_certs = endpoint.authority;
  const auto tls = grpc::SslCredentials(options);
  if (endpoint.token.empty()) return tls;
  return grpc::CompositeChannelCredentials(tls, grpc::AccessTokenCredentials(endpoint.token));
}

/// Sends a token without TLS, which gRPC itself refuses.
class TokenSender : public grpc::experimental::Interceptor {
 public:
  explicit TokenSender(const std::string& token) : token_(token) {}
  void Intercept(grpc::experimental::InterceptorBatchMethods* methods) override {
    if (methods->QueryInterceptionHookPoint(grpc::experimental::InterceptionHookPoints::PRE_SEND_INITIAL_METADATA)) {
      methods->GetSendInitialMetadata()->insert({"authorization", "Bearer " + token_});
    }
    methods->Proceed();
  }

 private:
  const std::string token_;
};

class TokenSenders : public grpc::experimental::ClientInterceptorFactoryInterface {
 public:
  explicit TokenSenders(const std::string& token) : token_(token) {}
  grpc::experimental::Interceptor* CreateClientInterceptor(grpc::experimental::ClientRpcInfo*) override {
    return new TokenSender(token_);
  }

 private:
  const std::string token_;
};

static bool IsThisMachine(const std::string& address) {
  return address.starts_with("127.") || address.starts_with("localhost:") || address.starts_with("[::1]:");
}

std::shared_ptr<grpc::Channel> Connect(const Endpoint& endpoint) {
  grpc::ChannelArguments arguments;
  arguments.SetInt(GRPC_ARG_KEEPALIVE_TIME_MS, 30'000);
  arguments.SetInt(GRPC_ARG_KEEPALIVE_TIMEOUT_MS, 10'000);
  arguments.SetInt(GRPC_ARG_HTTP2_MAX_PINGS_WITHOUT_DATA, 0);
  arguments.SetInt(GRPC_ARG_MAX_RECONNECT_BACKOFF_MS, static_cast<int>(kLongestPause.count()));
  arguments.SetMaxReceiveMessageSize(kMaxMessageBytes);
  std::vector<std::unique_ptr<grpc::experimental::ClientInterceptorFactoryInterface>> senders;
  if (endpoint.authority.empty() && !endpoint.token.empty() && IsThisMachine(endpoint.address)) {
    senders.push_back(std::make_unique<TokenSenders>(endpoint.token));
  }
  return grpc::experimental::CreateCustomChannelWithInterceptors(endpoint.address, CredentialsOf(endpoint), arguments,
                                                                 std::move(senders));
}

}  // namespace gyrebox::client
