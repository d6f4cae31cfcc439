#include "process.h"

#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <fstream>
#include <iterator>

#include "temporary_directory.h"

extern char** environ;

namespace gyrebox::test {

Process::Process(const std::vector<std::string>& command, const std::string& out_path, const std::string& error_path) {
  std::vector<char*> arguments;
  for (const auto& argument : command) arguments.push_back(const_cast<char*>(argument.c_str()));
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, out_path.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
  posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, error_path.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
  if (posix_spawn(&pid_, arguments[0], &actions, nullptr, arguments.data(), environ) != 0) pid_ = 0;
  posix_spawn_file_actions_destroy(&actions);
}

Process::~Process() {
  if (pid_ == 0) return;
  Signal(SIGKILL);
  Wait();
}

int Process::Wait() {
  if (pid_ == 0) return -1000;
  int status = 0;
  waitpid(pid_, &status, 0);
  pid_ = 0;
  return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

bool Process::Running() const {
  siginfo_t ended{};
  return pid_ != 0 && waitid(P_PID, static_cast<id_t>(pid_), &ended, WEXITED | WNOHANG | WNOWAIT) == 0 &&
         ended.si_pid == 0;
}

std::string ReadAll(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

Outcome Run(const std::vector<std::string>& command) {
  const TemporaryDirectory directory;
  Process process(command, directory.path() + "/out", directory.path() + "/error");
  Outcome outcome;
  outcome.code = process.Wait();
  outcome.out = ReadAll(directory.path() + "/out");
  outcome.error = ReadAll(directory.path() + "/error");
  return outcome;
}

}  // namespace gyrebox::test
