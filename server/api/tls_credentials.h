/// Credentials of a server whose certificate may change while it runs.
#pragma once

#include <grpc/grpc_security.h>
#include <grpcpp/security/server_credentials.h>

#include <memory>
#include <mutex>
#include <optional>
#include <string>

#include "access/tls.h"

namespace gyrebox::api {

/// gRPC asks for the certificate at each handshake, so a new one applies from the next connection on. (gRPC's own class
/// for this, FileWatcherCertificateProvider, polls the files and takes what it finds, complete or not.)
class TlsCredentials : public grpc::ServerCredentials {
 public:
  explicit TlsCredentials(access::TlsPair pair);
  ~TlsCredentials() override;

  /// Thread-safe.
  void Use(access::TlsPair pair);
  /// The current certificate and key.
  access::TlsPair pair() const;

  /// Ignored: not safe in gRPC 1.51.1; see entry.h.
  void SetAuthMetadataProcessor(const std::shared_ptr<grpc::AuthMetadataProcessor>&) override {}

 private:
  static grpc_ssl_certificate_config_reload_status Fetch(void* self, grpc_ssl_server_certificate_config** config);
  int AddPortToServer(const std::string& address, grpc_server* server) override;

  mutable std::mutex mutex_;
  access::TlsPair pair_;  ///< guarded by mutex_
  bool is_new_ = true;    ///< not handed to gRPC yet; guarded by mutex_
  grpc_server_credentials* credentials_;
};

}  // namespace gyrebox::api
