/// A real gyreboxd on a free port.
#pragma once

#include <gtest/gtest.h>

#include <optional>
#include <string>
#include <vector>

#include "process.h"
#include "wait_for.h"

namespace gyrebox::test {

class ServerProcess {
 public:
  /// Starts it, with more options, and waits until it listens.
  void Start(const std::vector<std::string>& more = {}) {
    const std::string port_file = directory_.path() + "/port";
    std::filesystem::remove(port_file);
    std::vector<std::string> command = {GYREBOXD, "--data",    data(), "--listen",    "127.0.0.1:0", "--device",
                                        "cpu",    "--threads", "1",    "--port-file", port_file};
    command.insert(command.end(), more.begin(), more.end());
    process_.emplace(command, directory_.path() + "/out", directory_.path() + "/error");
    ASSERT_TRUE(WaitFor([&] { return std::filesystem::exists(port_file); })) << log();
    address_ = ReadAll(port_file);
    address_.pop_back();
  }

  Process& process() { return *process_; }
  const std::string& address() const { return address_; }
  int port() const { return std::stoi(address_.substr(address_.rfind(':') + 1)); }
  std::string data() const { return directory_.path() + "/data"; }
  std::string log() const { return ReadAll(directory_.path() + "/out") + ReadAll(directory_.path() + "/error"); }
  const TemporaryDirectory& directory() const { return directory_; }

 private:
  TemporaryDirectory directory_;
  std::optional<Process> process_;
  std::string address_;
};

}  // namespace gyrebox::test
