#include <iostream>

#include "commands/registry.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/number_text.h"

namespace gyrebox::client {

static void AddDevice(const v1::Device& device, std::vector<Row>* rows) {
  const std::string speed = device.bead_steps_per_second() > 0
                                ? schema::NumberText(device.bead_steps_per_second(), 3) + " bead-steps per second"
                                : "idle";
  rows->insert(rows->end(), {{"device", device.name() + ", " + device.description()},
                             {"  why", device.reason()},
                             {"  threads", std::to_string(device.thread_count())},
                             {"  memory", BytesText(static_cast<double>(device.memory_bytes())) + " for beds, " +
                                              BytesText(static_cast<double>(device.used_memory_bytes())) + " in use"},
                             {"  speed", speed}});
  if (device.load() > 0) rows->push_back({"  load", schema::NumberText(100 * device.load(), 3) + " %"});
}

/// @param drain true to drain the machine first, false to resume work; none to show only.
static ExitCode ShowMachine(const Session& session, std::optional<bool> drain) {
  Client client(session.server);
  const auto machine = drain ? client.DrainMachine(*drain) : client.GetMachine();
  if (!machine.ok()) return Report(session, machine.status());
  if (session.json) {
    PrintJson(*machine);
    return kDone;
  }
  std::vector<Row> rows = {{"server", "gyreboxd " + machine->version() + " at " + session.server.address},
                           {"up since", TimeText(machine->start_time())},
                           {"runs", std::to_string(machine->running_count()) + " running, " +
                                        std::to_string(machine->queued_count()) + " queued"}};
  for (const v1::Device& device : machine->devices()) AddDevice(device, &rows);
  if (machine->draining()) rows.push_back({"drains", "no run starts; gyrebox machine --work resumes work"});
  if (!machine->trouble().empty()) rows.push_back({"TROUBLE", machine->trouble()});
  WriteAligned(std::cout, rows, {Align::kLeft, Align::kLeft});
  return kDone;
}

void RegisterMachineCommand(Registry& registry) {
  struct Options {
    bool drain = false, work = false;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* machine =
      registry.AddWithJson("machine", "Show the machine and what it is doing", [o](const Session& session) {
        return ShowMachine(session, o->drain || o->work ? std::optional(o->drain) : std::nullopt);
      });
  CLI::Option* drain = machine->add_flag("--drain", o->drain, "Operator: save all runs and start no more");
  machine->add_flag("--work", o->work, "Operator: resume work")->excludes(drain);
}

}  // namespace gyrebox::client
