#include "api/tls_credentials.h"

#include <grpc/grpc.h>

namespace gyrebox::api {

TlsCredentials::TlsCredentials(access::TlsPair pair)
    : pair_(std::move(pair)),
      credentials_(grpc_ssl_server_credentials_create_with_options(
          grpc_ssl_server_credentials_create_options_using_config_fetcher(GRPC_SSL_DONT_REQUEST_CLIENT_CERTIFICATE,
                                                                          &Fetch, this))) {}

TlsCredentials::~TlsCredentials() { grpc_server_credentials_release(credentials_); }

void TlsCredentials::Use(access::TlsPair pair) {
  std::lock_guard lock(mutex_);
  pair_ = std::move(pair);
  is_new_ = true;
}

access::TlsPair TlsCredentials::pair() const {
  std::lock_guard lock(mutex_);
  return pair_;
}

grpc_ssl_certificate_config_reload_status TlsCredentials::Fetch(void* self,
                                                                grpc_ssl_server_certificate_config** config) {
  auto& me = *static_cast<TlsCredentials*>(self);
  std::lock_guard lock(me.mutex_);
  if (!me.is_new_) return GRPC_SSL_CERTIFICATE_CONFIG_RELOAD_UNCHANGED;
  const grpc_ssl_pem_key_cert_pair pair = {me.pair_.key.c_str(), me.pair_.certificate.c_str()};
  // gRPC 1.51.1 aborts without roots. They would only verify clients, which are asked for no certificate.
  *config = grpc_ssl_server_certificate_config_create(pair.cert_chain, &pair, /*num_key_cert_pairs=*/1);
  me.is_new_ = false;
  return GRPC_SSL_CERTIFICATE_CONFIG_RELOAD_NEW;
}

int TlsCredentials::AddPortToServer(const std::string& address, grpc_server* server) {
  return grpc_server_add_http2_port(server, address.c_str(), credentials_);
}

}  // namespace gyrebox::api
