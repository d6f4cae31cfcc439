#include "api/server.h"

#include <grpcpp/grpcpp.h>

#include <atomic>
#include <chrono>

#include "api/analysis_service.h"
#include "api/box_service.h"
#include "api/entry.h"
#include "api/frame_looker.h"
#include "api/health_service.h"
#include "api/people_service.h"
#include "api/reflection_service.h"
#include "api/rooms.h"
#include "api/run_service.h"
#include "api/study_service.h"

namespace gyrebox::api {

constexpr int kWorkers = 4;
constexpr int kSteerWorkers = 4;
constexpr int kSlowWorkers = 3;
/// Time that calls under way have to end by themselves.
constexpr std::chrono::seconds kGrace{1};

constexpr const char* kServices[] = {"gyrebox.v1.StudyService",
                                     "gyrebox.v1.RunService",
                                     "gyrebox.v1.AnalysisService",
                                     "gyrebox.v1.BoxService",
                                     "gyrebox.v1.PeopleService",
                                     "grpc.health.v1.Health",
                                     "grpc.reflection.v1alpha.ServerReflection"};

static std::string HostOf(const std::string& listen) { return listen.substr(0, listen.rfind(':')); }

/// What a stranger may hold on to.
constexpr int kHandshakeMilliseconds = 10'000;
constexpr int kMostCallsPerConnection = 1000;

static bool IsLoopback(const std::string& host) {
  const bool dotted = host.find_first_not_of("0123456789.") == std::string::npos;
  return host == "localhost" || host == "[::1]" || (host.starts_with("127.") && dotted);
}

static absl::Status CheckListen(const std::string& listen, bool tls) {
  if (listen.rfind(':') == std::string::npos) {
    return absl::InvalidArgumentError(listen + " has no port; give HOST:PORT, such as 127.0.0.1:7421");
  }
  if (tls || IsLoopback(HostOf(listen))) return absl::OkStatus();
  return absl::InvalidArgumentError(HostOf(listen) +
                                    " can be reached from other machines, so calls must be encrypted " +
                                    "and show a token: give --tls-cert and --tls-key, and make a first admin with " +
                                    "--make-admin NAME; or listen on 127.0.0.1");
}

static absl::Status CheckAdmin(access::Gate& gate) {
  if (!gate.asks_for_tokens() || gate.HasAdmin()) return absl::OkStatus();
  return absl::FailedPreconditionError(
      "no admin has a valid token, so nobody could let people in; make one with "
      "gyreboxd --data DIR --make-admin NAME, then start again");
}

static executor::Options WithQuota(const ServerOptions& options) {
  executor::Options made = options.executor;
  made.most_beads_of_person = options.quotas.device_beads;
  made.most_bytes_of_person = options.quotas.stored_bytes;
  return made;
}

class WiredServer : public Server {
 public:
  WiredServer(const ServerOptions& options, std::unique_ptr<store::Store> store, std::unique_ptr<access::Gate> gate,
              std::unique_ptr<kernels::Device> device, const std::string& device_reason)
      : options_(options),
        store_(std::move(store)),
        gate_(std::move(gate)),
        limits_(options.limits),
        device_(std::move(device)),
        hub_(*store_, [this](int64_t id) { return ReadStudy(id); }),
        executor_(*store_, *device_, WithQuota(options), [this](int64_t id) { Changed(id); }),
        keeper_(*store_, options.retention, [this](int64_t id) { Kept(id); }),
        pool_(kWorkers),
        steer_pool_(kSteerWorkers, options.limits.steering_calls),
        slow_pool_(kSlowWorkers, options.limits.slow_calls),
        frames_(MakeLooker(*store_, executor_, pool_)),
        rooms_{*store_,        *device_, executor_, hub_,          frames_,
               keeper_,        digests_, pool_,     steer_pool_,   slow_pool_,
               options.quotas, *gate_,   limits_,   device_reason, std::chrono::system_clock::now(),
               stopping_},
        studies_(rooms_),
        runs_(rooms_),
        analysis_(rooms_),
        box_(rooms_),
        people_(rooms_),
        health_(rooms_, {std::begin(kServices), std::end(kServices)}),
        reflection_(rooms_, {std::begin(kServices), std::end(kServices)}),
        no_such_method_(rooms_) {}

  ~WiredServer() override { Stop(); }

  absl::Status Listen() {
    grpc::EnableDefaultHealthCheckService(false);  // ours asks for tokens
    grpc::ServerBuilder builder;
    int port = 0;
    builder.AddListeningPort(options_.listen, Credentials(), &port);
    builder.SetMaxReceiveMessageSize(options_.limits.message_bytes);
    builder.AddChannelArgument(GRPC_ARG_SERVER_HANDSHAKE_TIMEOUT_MS, kHandshakeMilliseconds);
    builder.AddChannelArgument(GRPC_ARG_MAX_CONCURRENT_STREAMS, kMostCallsPerConnection);
    builder.AddChannelArgument(GRPC_ARG_ALLOW_REUSEPORT, 0);
    builder.AddChannelArgument(GRPC_ARG_KEEPALIVE_TIME_MS, 60'000);
    builder.AddChannelArgument(GRPC_ARG_KEEPALIVE_TIMEOUT_MS, 20'000);
    builder.AddChannelArgument(GRPC_ARG_HTTP2_MIN_RECV_PING_INTERVAL_WITHOUT_DATA_MS, 20'000);
    for (grpc::Service* service : {static_cast<grpc::Service*>(&studies_), static_cast<grpc::Service*>(&runs_),
                                   static_cast<grpc::Service*>(&analysis_), static_cast<grpc::Service*>(&box_),
                                   static_cast<grpc::Service*>(&people_), static_cast<grpc::Service*>(&health_),
                                   static_cast<grpc::Service*>(&reflection_)}) {
      builder.RegisterService(service);
    }
    builder.RegisterCallbackGenericService(&no_such_method_);
    server_ = builder.BuildAndStart();
    if (server_ == nullptr || port == 0) {
      return absl::FailedPreconditionError("cannot listen on " + options_.listen +
                                           "; is another server there already?");
    }
    // The store was recovered before anything listened: whoever is answered is answered from what is true.
    health_.Update(/*serving=*/true);
    address_ = HostOf(options_.listen) + ":" + std::to_string(port);
    executor_.Start();
    keeper_.Start();
    return absl::OkStatus();
  }

  const std::string& address() const override { return address_; }

  void Stop() override {
    if (stopping_.exchange(true)) return;
    health_.GoAway();
    hub_.GoAway();
    frames_.GoAway();
    box_.GoAway();
    keeper_.Stop();
    executor_.Stop();
    if (server_ != nullptr) server_->Shutdown(std::chrono::system_clock::now() + kGrace);
    pool_.Stop();
    steer_pool_.Stop();
    slow_pool_.Stop();
  }

 private:
  std::shared_ptr<grpc::ServerCredentials> Credentials() {
    if (!options_.tls) return grpc::InsecureServerCredentials();
    grpc::SslServerCredentialsOptions files;
    files.pem_key_cert_pairs = {{options_.tls->key, options_.tls->certificate}};
    return grpc::SslServerCredentials(files);
  }

  void Changed(int64_t study) {
    hub_.Changed(study);
    frames_.Changed(study);
  }

  absl::StatusOr<v1::Study> ReadStudy(int64_t id) {
    auto study = store_->GetStudy(id);
    if (study.ok()) Remaining(*store_, executor_.rate()).AddTo(&*study);
    return study;
  }

  /// A study is to be deleted, or is there no more.
  void Kept(int64_t id) {
    if (!store_->GetOwner(id).ok()) digests_.Forget(id);
    hub_.Changed(id);
  }

  const ServerOptions options_;
  std::unique_ptr<store::Store> store_;
  std::unique_ptr<access::Gate> gate_;
  access::Limits limits_;
  std::unique_ptr<kernels::Device> device_;
  std::atomic<bool> stopping_ = false;
  stream::WatchHub hub_;
  executor::Executor executor_;
  analysis::DigestCache digests_;
  retention::Keeper keeper_;
  WorkerPool pool_, steer_pool_, slow_pool_;
  stream::FrameHub frames_;
  Rooms rooms_;
  StudyService studies_;
  RunService runs_;
  AnalysisService analysis_;
  BoxService box_;
  PeopleService people_;
  HealthService health_;
  ReflectionService reflection_;
  NoSuchMethod no_such_method_;
  std::unique_ptr<grpc::Server> server_;
  std::string address_;
};

absl::StatusOr<std::unique_ptr<Server>> Server::Start(const ServerOptions& options, std::unique_ptr<store::Store> store,
                                                      std::unique_ptr<kernels::Device> device,
                                                      const std::string& device_reason) {
  const Quotas& quotas = options.quotas;
  store->SetBounds({quotas.queued_runs, quotas.stored_bytes, quotas.reserve_bytes});
  if (auto status = CheckListen(options.listen, options.tls.has_value()); !status.ok()) return status;
  auto gate = access::Gate::Make(*store, /*asks_for_tokens=*/options.tls.has_value());
  if (!gate.ok()) return gate.status();
  if (auto status = CheckAdmin(**gate); !status.ok()) return status;
  auto server =
      std::make_unique<WiredServer>(options, std::move(store), *std::move(gate), std::move(device), device_reason);
  if (auto status = server->Listen(); !status.ok()) return status;
  return server;
}

}  // namespace gyrebox::api
