// gyrebox: options of the server, and the commands, which register themselves.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <iostream>
#include <string>
#include <vector>

#include "commands/endpoint.h"
#include "commands/registry.h"
#include "schema/nearest_name.h"
#include "schema/visible_text.h"

using namespace gyrebox::client;

namespace {

struct ServerOptions {
  Endpoint server;
  std::string authority_file, token_file;
};

void AddServerOptions(CLI::App& app, ServerOptions& o) {
  app.add_option("--server", o.server.address, "HOST:PORT of the server")
      ->envname("GYREBOX_SERVER")
      ->capture_default_str();
  app.add_option("--tls-ca", o.authority_file, "CA certificate of the server (PEM file); turns TLS on")
      ->envname("GYREBOX_TLS_CA");
  app.add_option("--token-file", o.token_file, "File with your token; default: the token in GYREBOX_TOKEN")
      ->needs("--tls-ca");
}

std::vector<std::string> NamesOfCommands(const CLI::App& app) {
  std::vector<std::string> names;
  for (const CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; })) {
    names.push_back(command->get_name());
  }
  return names;
}

/// The argument that stands where a command should; empty if there is none.
std::string CommandOf(const CLI::App& app, int argc, char** argv) {
  for (int i = 1; i < argc; ++i) {
    const std::string argument = argv[i];
    if (!argument.starts_with("-")) return argument;
    const CLI::Option* option = app.get_option_no_throw(argument);
    if (option != nullptr && option->get_items_expected_max() > 0) ++i;  // its value
  }
  return "";
}

/// Says that there is no such command, and which one is near; empty if there is one.
std::string UnknownCommandText(const CLI::App& app, int argc, char** argv) {
  const std::string given = CommandOf(app, argc, argv);
  const auto names = NamesOfCommands(app);
  if (given.empty() || std::find(names.begin(), names.end(), given) != names.end()) return "";
  const std::string nearest = gyrebox::schema::DidYouMean(given, names);
  return gyrebox::schema::Visible("there is no command " + given) +
         (nearest.empty() ? "; gyrebox --help lists them" : nearest);
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("Submits studies to a gyreboxd server, follows them and reads their results.", "gyrebox");
  app.set_version_flag("--version", GYREBOX_VERSION);
  ServerOptions options;
  AddServerOptions(app, options);
  Registry registry(app);
#define GYREBOX_REGISTER(name) name(registry);
  GYREBOX_FOR_COMMANDS(GYREBOX_REGISTER)
#undef GYREBOX_REGISTER
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    const std::string unknown = error.get_exit_code() == 0 ? "" : UnknownCommandText(app, argc, argv);
    if (!unknown.empty()) {
      std::cerr << "gyrebox: " << unknown << "\n";
      return kBadInput;
    }
    return app.exit(error) == 0 ? kDone : kBadInput;
  }
  const std::string fault = FillEndpoint(options.authority_file, options.token_file, &options.server);
  if (!fault.empty()) {
    std::cerr << "gyrebox: " << fault << "\n";
    return kBadInput;
  }
  return registry.RunChosen({options.server});
}
