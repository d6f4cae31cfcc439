#include "api/server.h"

#include <grpcpp/ext/proto_server_reflection_plugin.h>
#include <grpcpp/grpcpp.h>
#include <grpcpp/health_check_service_interface.h>

#include <atomic>
#include <chrono>

#include "api/box_service.h"
#include "api/rooms.h"
#include "api/run_service.h"
#include "api/study_service.h"

namespace gyrebox::api {

constexpr int kWorkers = 4;
/// Time that calls under way have to end by themselves.
constexpr std::chrono::seconds kGrace{1};

static std::string HostOf(const std::string& listen) { return listen.substr(0, listen.rfind(':')); }

static absl::Status CheckListen(const std::string& listen) {
  const std::string host = HostOf(listen);
  if (listen.rfind(':') == std::string::npos) {
    return absl::InvalidArgumentError(listen + " has no port; give HOST:PORT, such as 127.0.0.1:7421");
  }
  const bool dotted = host.find_first_not_of("0123456789.") == std::string::npos;
  if (host == "localhost" || host == "[::1]" || (host.starts_with("127.") && dotted)) return absl::OkStatus();
  return absl::InvalidArgumentError(host + " can be reached from other machines, and this version has neither " +
                                    "encryption nor tokens; listen on 127.0.0.1, or reach it by a tunnel");
}

static executor::Options WithQuota(const ServerOptions& options) {
  executor::Options made = options.executor;
  made.most_beads_of_person = options.quotas.device_beads;
  return made;
}

class WiredServer : public Server {
 public:
  WiredServer(const ServerOptions& options, std::unique_ptr<store::Store> store,
              std::unique_ptr<kernels::Device> device, const std::string& device_reason)
      : store_(std::move(store)),
        device_(std::move(device)),
        hub_(*store_, [this](int64_t id) { return ReadStudy(id); }),
        executor_(*store_, *device_, WithQuota(options), [this](int64_t id) { hub_.Changed(id); }),
        pool_(kWorkers),
        rooms_{*store_,  *device_,       executor_,     hub_,
               pool_,    options.quotas, device_reason, std::chrono::system_clock::now(),
               stopping_},
        studies_(rooms_),
        runs_(rooms_),
        box_(rooms_) {}

  ~WiredServer() override { Stop(); }

  absl::Status Listen(const std::string& listen) {
    grpc::EnableDefaultHealthCheckService(true);
    grpc::reflection::InitProtoReflectionServerBuilderPlugin();
    grpc::ServerBuilder builder;
    int port = 0;
    builder.AddListeningPort(listen, grpc::InsecureServerCredentials(), &port);
    builder.AddChannelArgument(GRPC_ARG_ALLOW_REUSEPORT, 0);
    builder.AddChannelArgument(GRPC_ARG_KEEPALIVE_TIME_MS, 60'000);
    builder.AddChannelArgument(GRPC_ARG_KEEPALIVE_TIMEOUT_MS, 20'000);
    builder.AddChannelArgument(GRPC_ARG_HTTP2_MIN_RECV_PING_INTERVAL_WITHOUT_DATA_MS, 20'000);
    builder.RegisterService(&studies_);
    builder.RegisterService(&runs_);
    builder.RegisterService(&box_);
    server_ = builder.BuildAndStart();
    if (server_ == nullptr || port == 0) {
      return absl::FailedPreconditionError("cannot listen on " + listen + "; is another server there already?");
    }
    for (const char* service : {"gyrebox.v1.StudyService", "gyrebox.v1.RunService", "gyrebox.v1.BoxService"}) {
      server_->GetHealthCheckService()->SetServingStatus(service, true);
    }
    address_ = HostOf(listen) + ":" + std::to_string(port);
    executor_.Start();
    return absl::OkStatus();
  }

  const std::string& address() const override { return address_; }

  void Stop() override {
    if (stopping_.exchange(true)) return;
    if (server_ != nullptr) server_->GetHealthCheckService()->SetServingStatus(false);
    hub_.GoAway();
    box_.GoAway();
    executor_.Stop();
    if (server_ != nullptr) server_->Shutdown(std::chrono::system_clock::now() + kGrace);
    pool_.Stop();
  }

 private:
  absl::StatusOr<v1::Study> ReadStudy(int64_t id) {
    auto study = store_->GetStudy(id);
    if (study.ok()) Remaining(*store_, executor_.rate()).AddTo(&*study);
    return study;
  }

  std::unique_ptr<store::Store> store_;
  std::unique_ptr<kernels::Device> device_;
  std::atomic<bool> stopping_ = false;
  stream::WatchHub hub_;
  executor::Executor executor_;
  WorkerPool pool_;
  Rooms rooms_;
  StudyService studies_;
  RunService runs_;
  BoxService box_;
  std::unique_ptr<grpc::Server> server_;
  std::string address_;
};

absl::StatusOr<std::unique_ptr<Server>> Server::Start(const ServerOptions& options, std::unique_ptr<store::Store> store,
                                                      std::unique_ptr<kernels::Device> device,
                                                      const std::string& device_reason) {
  if (auto status = CheckListen(options.listen); !status.ok()) return status;
  auto server = std::make_unique<WiredServer>(options, std::move(store), std::move(device), device_reason);
  if (auto status = server->Listen(options.listen); !status.ok()) return status;
  return server;
}

}  // namespace gyrebox::api
