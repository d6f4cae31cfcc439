/// Other programs, run by a test.
#pragma once

#include <signal.h>
#include <sys/types.h>

#include <string>
#include <vector>

namespace gyrebox::test {

/// A program that runs beside the test. Killed with its owner.
class Process {
 public:
  Process(const std::vector<std::string>& command, const std::string& out_path, const std::string& error_path);
  ~Process();
  Process(const Process&) = delete;
  Process& operator=(const Process&) = delete;

  pid_t pid() const { return pid_; }
  void Signal(int signal) const { kill(pid_, signal); }

  /// Exit code; minus the signal where one ended it; -1000 where it never ran.
  int Wait();

  /// False once it has ended, whether waited for or not.
  bool Running() const;

 private:
  pid_t pid_ = 0;
};

struct Outcome {
  int code = 0;
  std::string out;
  std::string error;
};

std::string ReadAll(const std::string& path);

/// Runs a program to its end.
Outcome Run(const std::vector<std::string>& command);

}  // namespace gyrebox::test
