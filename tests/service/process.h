/// Child processes started by a test.
#pragma once

#include <signal.h>
#include <sys/types.h>

#include <string>
#include <vector>

namespace gyrebox::test {

/// A program that runs beside the test. Killed by its destructor.
class Process {
 public:
  Process(const std::vector<std::string>& command, const std::string& out_path, const std::string& error_path);
  ~Process();
  Process(const Process&) = delete;
  Process& operator=(const Process&) = delete;

  pid_t pid() const { return pid_; }
  void Signal(int signal) const { kill(pid_, signal); }

  /// Exit code; the negative signal number if a signal ended it; -1000 if it never started.
  int Wait();

  /// False once it has ended, even before Wait().
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
