// gyreboxd: options, wiring and signals, nothing else.
#include <malloc.h>
#include <pthread.h>
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <memory>
#include <optional>
#include <string>
#include <thread>

#include "access/authenticator.h"
#include "access/descriptor_limit.h"
#include "access/private_files.h"
#include "access/tls.h"
#include "api/server.h"
#include "discovery/address_file.h"
#include "executor/executor.h"
#include "gyrebox/device.h"
#include "store/backup.h"
#include "store/salvage.h"
#include "store/store.h"

namespace {

constexpr int kBadOption = 2;
constexpr int kFailed = 3;
/// Time limit of a shutdown, after which the process exits.
constexpr std::chrono::seconds kHardLimit{9};
/// Max malloc arenas. glibc's default is eight per core, and memory freed in one is not reused by the others
/// (mallopt(3)).
constexpr int kHeaps = 4;

struct Options {
  std::string data;
  std::string listen = "127.0.0.1:7421";
  std::string device = "auto";
  int threads = 0;
  std::string port_file;
  double checkpoint_seconds = 30;
  double slice_seconds = 0.5;
  double half_life_hours = 1;
  std::optional<int64_t> queued_runs, stored_bytes, reserve_mib;
  int64_t device_beads = 0;
  std::string tls_certificate, tls_key;
  std::string make_admin, token_out;
  std::string backup, salvage;
  std::string socket;
  int connections = 0;
  int connections_per_address = gyrebox::access::ConnectionBounds().of_address;
  int message_kib = 1024;
  gyrebox::access::LimitOptions limits;
  gyrebox::retention::Rules retention;
};

/// Blocks the signals that the server waits for, in this thread and all threads that it starts.
sigset_t BlockSignals() {
  sigset_t signals;
  sigemptyset(&signals);
  sigaddset(&signals, SIGTERM);
  sigaddset(&signals, SIGINT);
  sigaddset(&signals, SIGHUP);
  pthread_sigmask(SIG_BLOCK, &signals, nullptr);
  return signals;
}

/// Writes the address atomically: a reader sees all of it or no file.
bool WritePortFile(const std::string& path, const std::string& address) {
  const std::string draft = path + ".new";
  std::ofstream(draft) << address << "\n";
  std::error_code error;
  std::filesystem::rename(draft, path, error);
  return !error;
}

int Fail(const std::string& why) {
  spdlog::error("{}", why);
  return kFailed;
}

void ForceEndLater() {
  std::thread([] {
    std::this_thread::sleep_for(kHardLimit);
    spdlog::error("still not at an end after {} s; leaving now", kHardLimit.count());
    std::_Exit(kFailed);
  }).detach();
}

/// Outputs a new token: to a file that must not exist yet, or alone on standard output.
int HandOver(const std::string& secret, const std::string& file) {
  if (file.empty()) return std::puts(secret.c_str()) < 0 ? kFailed : 0;
  const auto written = gyrebox::access::WriteNewPrivate(file, secret + "\n");
  return written.ok() ? 0 : Fail(std::string(written.message()));
}

/// Makes a token for a new admin, without starting a server.
int MakeAdmin(const Options& options) {
  // Check before making the token, which could not be shown again.
  if (!options.token_out.empty() && std::filesystem::exists(std::filesystem::symlink_status(options.token_out))) {
    return Fail(options.token_out + " is there already; give --token-out a new file");
  }
  auto store = gyrebox::store::Store::Open(options.data);
  if (!store.ok()) return Fail(std::string(store.status().message()));
  auto authenticator = gyrebox::access::Authenticator::Make(**store, /*asks_for_tokens=*/true);
  if (!authenticator.ok()) return Fail(std::string(authenticator.status().message()));
  gyrebox::v1::CreateTokenRequest request;
  request.set_user(options.make_admin);
  request.set_role(gyrebox::v1::Token::ROLE_ADMIN);
  const auto made = (*authenticator)->CreateToken(request);
  if (!made.ok()) {
    Fail(std::string(made.status().message()));
    return absl::IsInvalidArgument(made.status()) ? kBadOption : kFailed;
  }
  return HandOver(made->secret(), options.token_out);
}

/// Copies the store, even while a server runs.
int Backup(const Options& options) {
  const auto copied = gyrebox::store::Backup(options.data, options.backup);
  if (!copied.ok()) return Fail(std::string(copied.status().message()));
  for (const std::string& file : copied->damaged) Fail(options.data + "/states/" + file + " is damaged: left out");
  spdlog::info("{} holds a copy of {}, with {} states", options.backup, options.data, copied->states);
  return copied->damaged.empty() ? 0 : kFailed;
}

/// Builds a valid store from what can be read of a damaged one.
int Salvage(const Options& options) {
  const auto salvaged = gyrebox::store::Salvage(options.data, options.salvage);
  if (!salvaged.ok()) return Fail(std::string(salvaged.status().message()));
  for (const std::string& line : salvaged->lost) std::printf("lost: %s\n", line.c_str());
  std::printf("%s holds %lld studies with %lld runs; what was lost is listed in %s/salvage.txt\n",
              options.salvage.c_str(), static_cast<long long>(salvaged->studies),
              static_cast<long long>(salvaged->runs), options.salvage.c_str());
  return 0;
}

/// Quotas, with defaults for what the command line omits: with TLS, users share the machine, and one user's mistake
/// must not fill it.
gyrebox::access::Quotas QuotasOf(const Options& options) {
  constexpr int64_t kGibibyte = 1 << 30, kRuns = 100'000, kMaxBytes = 200 * kGibibyte, kReserve = kGibibyte / 2;
  std::error_code error;
  std::filesystem::create_directories(options.data, error);
  const auto space = std::filesystem::space(options.data, error);
  const int64_t disk = error ? 0 : static_cast<int64_t>(space.capacity);
  const bool shared = !options.tls_certificate.empty();
  gyrebox::access::Quotas quotas;
  quotas.queued_runs = options.queued_runs.value_or(shared ? kRuns : 0);
  quotas.stored_bytes = options.stored_bytes.value_or(shared ? std::min(kMaxBytes, disk / 4) : 0);
  quotas.device_beads = options.device_beads;
  quotas.reserve_bytes = options.reserve_mib ? *options.reserve_mib << 20 : std::min(kReserve, disk / 100);
  return quotas;
}

/// Reads the certificate again; on failure the present one stays.
void ReadCertificateAgain(const Options& options, gyrebox::api::Server& server) {
  auto tls = gyrebox::access::ReadTlsPair(options.tls_certificate, options.tls_key);
  if (!tls.ok()) {
    spdlog::error("the certificate stays as it was: {}", std::string(tls.status().message()));
    return;
  }
  server.UseCertificate(*std::move(tls));
  spdlog::info("the certificate was read again");
}

/// Waits for a signal that ends the server. With TLS, SIGHUP reads the certificate again instead.
void WaitForEnd(const sigset_t& signals, const Options& options, gyrebox::api::Server& server) {
  for (int signal = 0;;) {
    sigwait(&signals, &signal);
    if (signal != SIGHUP || options.tls_certificate.empty()) return;
    ReadCertificateAgain(options, server);
  }
}

/// Tells this user's programs where a server without TLS is, for the lifetime of this object.
class AddressNote {
 public:
  AddressNote(const Options& options, const gyrebox::api::Server& server) {
    if (!options.tls_certificate.empty()) return;
    directory_ = gyrebox::access::AddressDirectory();
    note_ = {server.address(), std::filesystem::absolute(options.socket).string(), server.local_secret()};
    if (directory_.empty()) return;
    if (const auto why = gyrebox::access::WriteAddressFile(directory_, note_); !why.empty()) {
      spdlog::warn("{}; gyrebox has to be told --server unix:{}", why, note_.socket);
    }
  }
  ~AddressNote() {
    if (!directory_.empty()) gyrebox::access::RemoveAddressFile(directory_, note_);
  }

 private:
  std::string directory_;
  gyrebox::access::LocalServer note_;
};

int Serve(Options options) {
  gyrebox::access::RaiseDescriptorLimit();
  setenv("GRPC_VERBOSITY", "NONE", /*overwrite=*/0);  // this program reports errors, once
  const sigset_t signals = BlockSignals();
  if (!options.port_file.empty()) std::remove(options.port_file.c_str());  // left by an earlier server
  gyrebox::api::ServerOptions server_options;
  server_options.listen = options.listen;
  if (options.socket.empty() && options.tls_certificate.empty()) options.socket = options.data + "/gyreboxd.sock";
  server_options.socket = options.socket;
  server_options.connections.in_all = options.connections;
  server_options.connections.of_address = options.connections_per_address;
  server_options.limits = options.limits;
  server_options.limits.message_bytes = options.message_kib * 1024;
  if (!options.tls_certificate.empty()) {
    auto tls = gyrebox::access::ReadTlsPair(options.tls_certificate, options.tls_key);
    if (!tls.ok()) return Fail(std::string(tls.status().message()));
    server_options.tls = *std::move(tls);
  }
  auto opened = gyrebox::kernels::OpenDevice(options.device, options.threads);
  if (opened.device == nullptr) return Fail("cannot use device " + options.device + ": " + opened.reason);
  auto store = gyrebox::store::Store::Open(options.data);
  if (!store.ok()) return Fail(std::string(store.status().message()));
  spdlog::info("device {}: {} ({})", opened.device->name(), opened.device->description(), opened.reason);

  server_options.executor = gyrebox::executor::OptionsFor(*opened.device);
  server_options.executor.checkpoint_seconds = options.checkpoint_seconds;
  server_options.executor.slice_seconds = options.slice_seconds;
  server_options.half_life_seconds = 3600 * options.half_life_hours;
  server_options.quotas = QuotasOf(options);
  server_options.retention = options.retention;
  auto server = gyrebox::api::Server::Start(server_options, *std::move(store), std::move(opened.device), opened.reason);
  if (!server.ok()) {
    Fail(std::string(server.status().message()));
    return absl::IsInvalidArgument(server.status()) ? kBadOption : kFailed;
  }
  const AddressNote note(options, **server);
  spdlog::info("listening on {}{}, data in {}", (*server)->address(),
               options.socket.empty() ? "" : " and unix:" + options.socket, options.data);
  if (!options.port_file.empty() && !WritePortFile(options.port_file, (*server)->address())) {
    return Fail("cannot write " + options.port_file);
  }

  WaitForEnd(signals, options, **server);
  spdlog::info("stopping");
  ForceEndLater();
  (*server)->Stop();
  server->reset();
  spdlog::info("stopped");
  return 0;
}

void AddWorkOptions(CLI::App& app, Options& options) {
  const CLI::Range seconds(0.05, 86400.0);
  app.add_option("--checkpoint-seconds", options.checkpoint_seconds,
                 "Seconds between checkpoints of a run: the most work that a crash can lose")
      ->check(seconds)
      ->capture_default_str();
  app.add_option("--slice-seconds", options.slice_seconds,
                 "Seconds on the device after which other work may take its turn")
      ->check(seconds)
      ->capture_default_str();
  app.add_option("--half-life-hours", options.half_life_hours, "Half-life of past device use in fair sharing, in hours")
      ->check(CLI::Range(0.001, 1e5))
      ->capture_default_str();
  const CLI::Range any(int64_t{0}, int64_t{1} << 60);
  app.add_option("--max-queued-runs", options.queued_runs,
                 "Max waiting and paused runs of one user; 0 for no limit. Default with TLS 100000, else 0")
      ->check(any);
  app.add_option("--max-stored-bytes", options.stored_bytes,
                 "Max bytes on disk of one user; 0 for no limit. Default with TLS 200 GiB or a quarter of the disk, "
                 "whichever is less; else 0")
      ->check(any);
  app.add_option("--reserve-mib", options.reserve_mib,
                 "MiB of the disk kept free for active runs: below it, the server accepts nothing new. Default 512 "
                 "or 1 % of the disk, whichever is less")
      ->check(CLI::Range(int64_t{0}, int64_t{1} << 40));
  app.add_option("--max-device-beads", options.device_beads,
                 "Max beads of one user on the device at a time; 0 for no limit")
      ->check(any);
}

void AddLimits(CLI::App& app, Options& options) {
  app.add_option("--message-kib", options.message_kib, "Largest request in KiB")
      ->check(CLI::Range(1, 1 << 20))
      ->capture_default_str();
  app.add_option("--requests-per-second", options.limits.requests_per_second,
                 "Sustained requests per second of one user; twice as many at once")
      ->check(CLI::Range(0.1, 1e9))
      ->capture_default_str();
  app.add_option("--streams", options.limits.streams, "Max open streams of one user")
      ->check(CLI::Range(1, 1'000'000))
      ->capture_default_str();
}

void AddConnections(CLI::App& app, Options& options) {
  app.add_option("--socket", options.socket,
                 "Unix socket for the user of the server, which needs no token; without TLS DIR/gyreboxd.sock, "
                 "with TLS none");
  app.add_option("--connections", options.connections,
                 "Max connections at a time; 0 for as many as the limit of open files allows, 1000 at most")
      ->check(CLI::Range(0, 1'000'000))
      ->capture_default_str();
  app.add_option("--connections-per-address", options.connections_per_address,
                 "Max connections from one address of another machine")
      ->check(CLI::Range(1, 1'000'000))
      ->capture_default_str();
}

void AddRetention(CLI::App& app, Options& options) {
  app.add_option("--keep-days", options.retention.keep_days,
                 "Days to keep a study after its end; 0 for ever. Archived studies are always kept")
      ->check(CLI::Range(0.0, 1e5))
      ->capture_default_str();
  app.add_option("--keep-gib", options.retention.keep_gib,
                 "Max GiB of all studies together; above it, those that ended first are deleted. 0 for no bound")
      ->check(CLI::Range(0.0, 1e9))
      ->capture_default_str();
  app.add_option("--warn-days", options.retention.warn_days,
                 "Days from the warning to the deletion of a study, counted while the server runs")
      ->check(CLI::Range(1.0, 3650.0))
      ->capture_default_str();
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Runs studies of driven beds of beads and serves them over gRPC.", "gyreboxd");
  app.set_version_flag("--version", GYREBOX_VERSION);
  app.add_option("--data", options.data, "Directory that holds all studies; created if missing")->required();
  app.add_option("--listen", options.listen,
                 "Address and port; port 0 takes a free one; addresses off this machine need TLS")
      ->capture_default_str();
  app.add_option("--device", options.device, "auto, cpu, cuda or cuda:N")->capture_default_str();
  app.add_option("--threads", options.threads, "CPU threads; 0 for all of the machine")
      ->check(CLI::Range(0, 4096))
      ->capture_default_str();
  app.add_option("--port-file", options.port_file, "File to which the server writes its address once it listens");
  AddWorkOptions(app, options);
  CLI::Option* certificate =
      app.add_option("--tls-cert", options.tls_certificate, "Certificate (PEM); with it every call needs a token");
  CLI::Option* key = app.add_option("--tls-key", options.tls_key, "Private key of the certificate (PEM)");
  certificate->needs(key);
  key->needs(certificate);
  CLI::Option* admin =
      app.add_option("--make-admin", options.make_admin, "Print a token for a new admin of this name, and exit");
  app.add_option("--token-out", options.token_out, "Write that token to this new file, which only you can read")
      ->needs(admin);
  CLI::Option* backup =
      app.add_option("--backup", options.backup,
                     "Copy the store into this new or empty directory, even while a server runs, and exit");
  app.add_option(
         "--salvage", options.salvage,
         "Save what can be read of a damaged store into this new or empty directory, list what was lost, and exit")
      ->excludes(backup);
  AddConnections(app, options);
  AddLimits(app, options);
  AddRetention(app, options);
  app.footer("Exit codes: 0 stopped on request, 2 bad options, 3 cannot start or cannot shut down cleanly, " +
             std::to_string(gyrebox::executor::kDeviceLostExit) + " the device is lost, " +
             std::to_string(gyrebox::api::kDeafExit) +
             " the server does not answer its own calls. After the last two, start it again: nothing is lost.\n"
             "SIGHUP reads the certificate again; without TLS it stops the server.");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : kBadOption;
  }
  spdlog::set_default_logger(
      std::make_shared<spdlog::logger>("", std::make_shared<spdlog::sinks::stderr_color_sink_mt>()));
  gyrebox::access::KeepNewFilesPrivate();
  mallopt(M_ARENA_MAX, kHeaps);
  if (!options.backup.empty()) return Backup(options);
  if (!options.salvage.empty()) return Salvage(options);
  if (const auto status = gyrebox::access::MakeDataPrivate(options.data); !status.ok()) {
    return Fail(std::string(status.message()));
  }
  return options.make_admin.empty() ? Serve(options) : MakeAdmin(options);
}
