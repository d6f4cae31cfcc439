#include "commands/registry.h"

namespace gyrebox::client {

CLI::App* Registry::Add(const char* name, const char* help, Run run, CLI::App* parent) {
  CLI::App* command = (parent != nullptr ? parent : &app_)->add_subcommand(name, help);
  command->fallthrough();
  command->callback([this, run = std::move(run)] { chosen_ = run; });
  return command;
}

CLI::App* Registry::AddWithJson(const char* name, const char* help, Run run, CLI::App* parent) {
  CLI::App* command = Add(name, help, std::move(run), parent);
  command->add_flag("--json", json_, "Print JSON as defined by the API");
  return command;
}

CLI::App* Registry::AddGroup(const char* name, const char* help) {
  CLI::App* group = app_.add_subcommand(name, help);
  group->fallthrough();
  group->require_subcommand(1);
  return group;
}

ExitCode Registry::RunChosen(Session session) const {
  session.json = json_;
  return chosen_(session);
}

CLI::App* TakeStudy(CLI::App* command, std::string* name) {
  command->add_option("NAME", *name, "Study, such as studies/7 or 7")->required();
  return command;
}

CLI::App* TakeRun(CLI::App* command, std::string* name) {
  command->add_option("RUN", *name, "Run, such as studies/7/runs/3 or 7/3")->required();
  return command;
}

CLI::App* TakeStudyOrRun(CLI::App* command, std::string* name) {
  command->add_option("NAME", *name, "Run such as 7/3, or study such as 7 for all its runs")->required();
  return command;
}

}  // namespace gyrebox::client
