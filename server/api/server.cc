#include "api/server.h"

#include <grpcpp/grpcpp.h>
#include <malloc.h>
#include <spdlog/spdlog.h>

#include <atomic>
#include <chrono>

#include "access/descriptor_limit.h"
#include "api/entrance.h"
#include "api/entry.h"
#include "api/frame_source.h"
#include "api/remaining.h"
#include "api/self_call.h"
#include "api/server_context.h"
#include "api/services.h"
#include "api/start_checks.h"
#include "api/thread_priority.h"
#include "api/ticker.h"
#include "queue/queue.h"
#include "study/return_if_error.h"

namespace gyrebox::api {

constexpr int kWorkers = 4;
constexpr int kSteerWorkers = 4;
constexpr int kSlowWorkers = 3;
/// Time in which calls under way may finish by themselves.
constexpr std::chrono::seconds kGrace{1};

/// Periods of the health check and of the call to itself.
constexpr std::chrono::seconds kHealthPeriod{1};
constexpr std::chrono::seconds kSelfCallPeriod{5};
constexpr std::chrono::hours kCertificatePeriod{24};
/// Memory freed after a burst of calls returns to the system this often.
constexpr std::chrono::seconds kTrimPeriod{10};

static access::ConnectionBounds Bounded(access::ConnectionBounds bounds) {
  if (bounds.in_all == 0) bounds.in_all = access::MostConnections(access::DescriptorLimit());
  return bounds;
}

class WiredServer : public Server {
 public:
  WiredServer(const ServerOptions& options, std::unique_ptr<store::Store> store,
              std::unique_ptr<access::Authenticator> authenticator, std::unique_ptr<kernels::Device> device,
              const std::string& device_reason)
      : options_(options),
        store_(std::move(store)),
        authenticator_(std::move(authenticator)),
        limits_(options.limits),
        connections_(Bounded(options.connections)),
        device_(std::move(device)),
        hub_(*store_, [this](int64_t id) { return ReadStudy(id); }),
        queue_(*store_, options.half_life_seconds),
        executor_(*store_, *device_, queue_, ExecutorOptions(), [this](int64_t id) { Changed(id); }),
        retention_(*store_, options.retention, [this](int64_t id) { Kept(id); }),
        pool_(kWorkers),
        steer_pool_(kSteerWorkers, options.limits.steering_calls),
        slow_pool_(kSlowWorkers, options.limits.slow_calls, StepBehindDevice),
        frames_(MakeFrameSource(*store_, executor_, pool_)),
        context_{.store = *store_,
                 .device = *device_,
                 .executor = executor_,
                 .hub = hub_,
                 .frames = frames_,
                 .retention_worker = retention_,
                 .digests = digests_,
                 .pool = pool_,
                 .steer_pool = steer_pool_,
                 .slow_pool = slow_pool_,
                 .quotas = options.quotas,
                 .authenticator = *authenticator_,
                 .limits = limits_,
                 .connections = connections_,
                 .device_reason = device_reason,
                 .start_time = std::chrono::system_clock::now(),
                 .stopping = stopping_},
        services_(context_),
        self_call_([this] { return options_.self_call ? options_.self_call() : CallItself(); },
                   [this] { return connections_.turned_away(); }, [this] { GiveUp(); }) {}

  ~WiredServer() override { Stop(); }

  absl::Status Listen() {
    grpc::EnableDefaultHealthCheckService(false);  // ours requires tokens
    absl::Status opened;
    DoBehindDevice([&] { opened = Open(); });  // gRPC creates its threads here
    if (!opened.ok()) return opened;
    if (server_ == nullptr) return absl::InternalError("gRPC does not start");
    executor_.Start();
    retention_.Start();
    // The store was recovered before the first connection is accepted, so that every answer is correct.
    UpdateHealth();
    DoBehindDevice([this] { entrance_->Start(); });
    health_ticker_.Start();
    self_call_ticker_.Start();
    certificate_ticker_.Start();
    trim_ticker_.Start();
    return absl::OkStatus();
  }

  const std::string& address() const override { return entrance_->address(); }
  const std::string& local_secret() const override { return authenticator_->local_secret(); }
  void UseCertificate(access::TlsPair pair) override {
    entrance_->Use(std::move(pair));
    WarnOfCertificate();
  }

  void Stop() override {
    if (stopping_.exchange(true)) return;
    self_call_ticker_.Stop();
    health_ticker_.Stop();
    certificate_ticker_.Stop();
    trim_ticker_.Stop();
    services_.GoAway();
    hub_.GoAway();
    frames_.GoAway();
    retention_.Stop();
    executor_.Stop();
    if (entrance_ != nullptr) entrance_->Stop();
    if (server_ != nullptr) server_->Shutdown(std::chrono::system_clock::now() + kGrace);
    pool_.Stop();
    steer_pool_.Stop();
    slow_pool_.Stop();
  }

 private:
  executor::Options ExecutorOptions() {
    executor::Options made = options_.executor;
    made.max_beads_per_user = options_.quotas.device_beads;
    made.max_bytes_per_user = options_.quotas.stored_bytes;
    made.leave = [this](int code) {
      device_lost_ = true;
      options_.executor.leave(code);
    };
    return made;
  }

  /// Sets up everything in gRPC; accepts no connections yet.
  absl::Status Open() {
    auto entrance = Entrance::Open(options_.listen, options_.socket, options_.tls, connections_);
    if (!entrance.ok()) return entrance.status();
    entrance_ = *std::move(entrance);
    grpc::ServerBuilder builder;
    builder.SetMaxReceiveMessageSize(options_.limits.message_bytes);
    entrance_->AddTo(builder);
    services_.AddTo(builder);
    std::vector<std::unique_ptr<grpc::experimental::ServerInterceptorFactoryInterface>> counters;
    counters.push_back(std::make_unique<CallCounter>(connections_));
    builder.experimental().SetInterceptorCreators(std::move(counters));
    server_ = builder.BuildAndStart();
    return absl::OkStatus();
  }

  absl::Status CallItself() { return CallHealth(entrance_->loopback(), options_.tls.has_value()); }

  void UpdateHealth() { services_.UpdateHealth(executor_.view().trouble.empty() && !device_lost_); }

  void WarnOfCertificate() {
    const auto warning = entrance_->CertificateWarning();
    if (!warning.empty()) spdlog::warn("{}", warning);
  }

  /// Exits without a shutdown; what is in the store is safe.
  void GiveUp() {
    spdlog::critical("the server does not answer its own calls; it ends so that another can go on");
    spdlog::default_logger()->flush();
    options_.executor.leave(kDeafExit);
  }

  void Changed(int64_t study) {
    hub_.Changed(study);
    frames_.Changed(study);
  }

  absl::StatusOr<v1::Study> ReadStudy(int64_t id) {
    auto study = store_->studies().Get(id);
    if (study.ok()) Remaining(*store_, executor_.rate()).AddTo(&*study);
    return study;
  }

  /// A study is about to be deleted, or is gone.
  void Kept(int64_t id) {
    if (!store_->studies().GetOwner(id).ok()) digests_.Forget(id);
    hub_.Changed(id);
  }

  const ServerOptions options_;
  std::unique_ptr<store::Store> store_;
  std::unique_ptr<access::Authenticator> authenticator_;
  access::Limits limits_;
  access::Connections connections_;
  std::unique_ptr<kernels::Device> device_;
  std::atomic<bool> stopping_ = false;
  std::atomic<bool> device_lost_ = false;
  stream::WatchHub hub_;
  queue::Queue queue_;
  executor::Executor executor_;
  analysis::DigestCache digests_;
  retention::RetentionWorker retention_;
  WorkerPool pool_, steer_pool_, slow_pool_;
  stream::FrameHub frames_;
  ServerContext context_;
  Services services_;
  std::unique_ptr<Entrance> entrance_;
  std::unique_ptr<grpc::Server> server_;
  SelfCall self_call_;
  Ticker health_ticker_{kHealthPeriod, [this] { UpdateHealth(); }};
  Ticker self_call_ticker_{kSelfCallPeriod, [this] { self_call_.Call(); }};
  Ticker certificate_ticker_{kCertificatePeriod, [this] { WarnOfCertificate(); }};
  Ticker trim_ticker_{kTrimPeriod, [] { malloc_trim(0); }};
};

absl::StatusOr<std::unique_ptr<Server>> Server::Start(const ServerOptions& options, std::unique_ptr<store::Store> store,
                                                      std::unique_ptr<kernels::Device> device,
                                                      const std::string& device_reason) {
  const access::Quotas& quotas = options.quotas;
  store->space().SetBounds({quotas.queued_runs, quotas.stored_bytes, quotas.reserve_bytes});
  GYREBOX_RETURN_IF_ERROR(CheckListen(options.listen, options.tls.has_value()));
  auto authenticator = access::Authenticator::Make(*store, /*asks_for_tokens=*/options.tls.has_value());
  if (!authenticator.ok()) return authenticator.status();
  GYREBOX_RETURN_IF_ERROR(CheckAdmin(**authenticator));
  auto server = std::make_unique<WiredServer>(options, std::move(store), *std::move(authenticator), std::move(device),
                                              device_reason);
  GYREBOX_RETURN_IF_ERROR(server->Listen());
  return server;
}

}  // namespace gyrebox::api
