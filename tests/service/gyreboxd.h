/// The real gyreboxd on a free port, started and ended by a test.
#pragma once

#include <gtest/gtest.h>

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "lib/client.h"
#include "process.h"
#include "wait_for.h"

namespace gyrebox::test {

class Gyreboxd {
 public:
  explicit Gyreboxd(std::string program = GYREBOXD, std::string device = "cpu")
      : program_(std::move(program)), device_(std::move(device)) {}

  /// Starts it on its data directory, which stays from one start to the next.
  void Start(const std::vector<std::string>& options = {}) {
    std::filesystem::remove(PortFile());
    std::vector<std::string> command = {program_, "--data",    Data(), "--listen",    "127.0.0.1:0", "--device",
                                        device_,  "--threads", "1",    "--port-file", PortFile()};
    command.insert(command.end(), options.begin(), options.end());
    process_.emplace(command, directory_.path() + "/out", directory_.path() + "/error");
  }

  /// Waits until it listens.
  void WaitUntilUp() {
    ASSERT_TRUE(WaitFor([&] { return std::filesystem::exists(PortFile()); })) << Log();
    address_ = ReadAll(PortFile());
    address_.pop_back();
  }

  /// Both.
  void StartAndWait(const std::vector<std::string>& options = {}) {
    Start(options);
    WaitUntilUp();
  }

  void Signal(int signal) const { process_->Signal(signal); }
  int Wait() { return process_->Wait(); }
  void Kill() {
    Signal(SIGKILL);
    EXPECT_EQ(Wait(), -SIGKILL) << Log();
  }

  const std::string& address() const { return address_; }
  int port() const { return std::stoi(address_.substr(address_.rfind(':') + 1)); }
  const TemporaryDirectory& directory() const { return directory_; }
  std::string Data() const { return directory_.path() + "/data"; }
  std::string Log() const { return ReadAll(directory_.path() + "/out") + ReadAll(directory_.path() + "/error"); }

  void WaitForEnd(const std::string& study, std::chrono::seconds limit = std::chrono::seconds(600)) const {
    EXPECT_TRUE(WaitFor(
        [&] {
          const auto found = client::Client(address_).GetStudy(study);
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
  std::string address_;
};

}  // namespace gyrebox::test
