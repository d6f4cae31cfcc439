// gyrebox: options of the server, and the commands, which register themselves.
#include <CLI/CLI.hpp>
#include <iostream>
#include <string>

#include "commands/endpoint.h"
#include "commands/registry.h"

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
    return app.exit(error) == 0 ? kDone : kBadInput;
  }
  const std::string fault = FillEndpoint(options.authority_file, options.token_file, &options.server);
  if (!fault.empty()) {
    std::cerr << "gyrebox: " << fault << "\n";
    return kBadInput;
  }
  return registry.RunChosen({options.server});
}
