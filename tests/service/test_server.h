/// A whole server in this process, on a free port, with a fake device.
#pragma once

#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>

#include <memory>
#include <string>

#include "api/server.h"
#include "fake_device.h"
#include "temporary_directory.h"

namespace gyrebox::test {

class TestServer {
 public:
  explicit TestServer(std::shared_ptr<FakePlan> plan = std::make_shared<FakePlan>()) : plan_(std::move(plan)) {
    Start();
  }

  void Start() {
    auto store = store::Store::Open(directory_.path());
    EXPECT_TRUE(store.ok()) << store.status();
    api::ServerOptions options;
    options.executor.record_seconds = 0.01;
    auto server = api::Server::Start(options, *std::move(store), std::make_unique<FakeDevice>(plan_), "a test asks");
    EXPECT_TRUE(server.ok()) << server.status();
    server_ = *std::move(server);
  }

  /// Ends the server in order; the data stays.
  void Stop() { server_.reset(); }

  api::Server& server() { return *server_; }
  FakePlan& plan() { return *plan_; }
  std::string address() const { return server_->address(); }
  const std::string& data() const { return directory_.path(); }

  std::shared_ptr<grpc::Channel> Connect() const {
    return grpc::CreateChannel(address(), grpc::InsecureChannelCredentials());
  }

 private:
  TemporaryDirectory directory_;
  std::shared_ptr<FakePlan> plan_;
  std::unique_ptr<api::Server> server_;
};

}  // namespace gyrebox::test
