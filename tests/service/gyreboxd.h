/// The real gyreboxd on a free port, started and stopped by a test.
#pragma once

#include <gtest/gtest.h>

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "lib/client.h"
#include "process.h"
#include "temporary_directory.h"
#include "wait_for.h"

namespace gyrebox::test {

class Gyreboxd {
 public:
  explicit Gyreboxd(std::string program = GYREBOXD, std::string device = "cpu")
      : program_(std::move(program)), device_(std::move(device)) {}

  /// Starts it on its data directory, which persists between starts.
  void Start(const std::vector<std::string>& options = {}) {
    std::filesystem::remove(PortFile());
    std::filesystem::create_directories(Runtime());
    std::vector<std::string> command = prefix_;
    for (const auto& word : std::vector<std::string>{"/usr/bin/env", "XDG_RUNTIME_DIR=" + Runtime(), program_, "--data",
                                                     Data(), "--listen", listen_, "--device", device_, "--threads", "1",
                                                     "--port-file", PortFile()}) {
      command.push_back(word);
    }
    command.insert(command.end(), options.begin(), options.end());
    process_.emplace(command, directory_.path() + "/out", directory_.path() + "/error");
  }

  /// Waits until it listens.
  void WaitUntilUp() {
    ASSERT_TRUE(WaitFor([&] { return std::filesystem::exists(PortFile()); })) << Log();
    tcp_address_ = ReadAll(PortFile());
    tcp_address_.pop_back();
  }

  /// Start() and WaitUntilUp().
  void StartAndWait(const std::vector<std::string>& options = {}) {
    Start(options);
    WaitUntilUp();
  }

  pid_t pid() const { return process_->pid(); }
  void Signal(int signal) const { process_->Signal(signal); }
  int Wait() { return process_->Wait(); }
  void Kill() {
    Signal(SIGKILL);
    EXPECT_EQ(Wait(), -SIGKILL) << Log();
  }

  /// Sets a wrapper program, with its options, that starts the server.
  void set_prefix(std::vector<std::string> prefix) { prefix_ = std::move(prefix); }
  void set_listen(std::string listen) { listen_ = std::move(listen); }

  /// Address where a test may call without a token: the Unix socket.
  std::string address() const { return "unix:" + Data() + "/gyreboxd.sock"; }
  /// HOST:PORT.
  const std::string& tcp_address() const { return tcp_address_; }
  int port() const { return std::stoi(tcp_address_.substr(tcp_address_.rfind(':') + 1)); }
  /// Used as $XDG_RUNTIME_DIR.
  std::string Runtime() const { return directory_.path() + "/runtime"; }
  const TemporaryDirectory& directory() const { return directory_; }
  std::string Data() const { return directory_.path() + "/data"; }
  std::string Log() const { return ReadAll(directory_.path() + "/out") + ReadAll(directory_.path() + "/error"); }

  void WaitForEnd(const std::string& study, std::chrono::seconds limit = std::chrono::seconds(600)) const {
    EXPECT_TRUE(WaitFor(
        [&] {
          const auto found = client::Client(address()).GetStudy(study);
          return found.ok() && found->has_end_time();
        },
        limit))
        << Log();
  }

 private:
  std::string PortFile() const { return directory_.path() + "/port"; }

  const std::string program_, device_;
  TemporaryDirectory directory_;
  std::optional<Process> process_;
  std::vector<std::string> prefix_;
  std::string listen_ = "127.0.0.1:0";
  std::string tcp_address_;
};

}  // namespace gyrebox::test
