/// A complete server in this process, on a free port, with a fake device.
#pragma once

#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>

#include <functional>
#include <memory>
#include <string>

#include "api/server.h"
#include "fake_device.h"
#include "temporary_directory.h"

namespace gyrebox::test {

/// Options without rate limits for the test.
inline api::ServerOptions Unhindered() {
  api::ServerOptions options;
  options.limits.requests_per_second = 1e9;
  options.limits.streams = 1'000'000;
  options.limits.slow_calls = options.limits.steering_calls = 0;
  return options;
}

class TestServer {
 public:
  /// @param prepare called with the store before each start.
  explicit TestServer(std::shared_ptr<FakePlan> plan = std::make_shared<FakePlan>(),
                      api::ServerOptions options = Unhindered(), std::function<void(store::Store&)> prepare = nullptr)
      : plan_(std::move(plan)), options_(std::move(options)), prepare_(std::move(prepare)) {
    Start();
  }

  void Start(const std::string& listen = "127.0.0.1:0") {
    auto store = store::Store::Open(directory_.path());
    EXPECT_TRUE(store.ok()) << store.status();
    if (prepare_) prepare_(**store);
    options_.listen = listen;
    if (!options_.tls) options_.socket = directory_.path() + "/gyreboxd.sock";
    options_.executor.record_seconds = 0.01;
    auto server = api::Server::Start(options_, *std::move(store), std::make_unique<FakeDevice>(plan_), "a test asks");
    EXPECT_TRUE(server.ok()) << server.status();
    server_ = *std::move(server);
  }

  /// Shuts the server down; the data stays.
  void Stop() { server_.reset(); }

  api::Server& server() { return *server_; }
  FakePlan& plan() { return *plan_; }
  /// Address where a test may call without a token: the Unix socket.
  std::string address() const { return "unix:" + options_.socket; }
  /// HOST:PORT.
  std::string tcp_address() const { return server_->address(); }
  const std::string& data() const { return directory_.path(); }

  std::shared_ptr<grpc::Channel> Connect() const {
    return grpc::CreateChannel(address(), grpc::InsecureChannelCredentials());
  }

 private:
  TemporaryDirectory directory_;
  std::shared_ptr<FakePlan> plan_;
  api::ServerOptions options_;
  std::function<void(store::Store&)> prepare_;
  std::unique_ptr<api::Server> server_;
};

}  // namespace gyrebox::test
