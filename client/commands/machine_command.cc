#include <iostream>

#include "commands/commands.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/number_text.h"

namespace gyrebox::client {

ExitCode ShowMachine(const Session& session, std::optional<bool> drain) {
  Client client(session.server);
  const auto machine = drain ? client.DrainMachine(*drain) : client.GetMachine();
  if (!machine.ok()) return Report(session, machine.status());
  if (session.json) {
    PrintJson(*machine);
    return kDone;
  }
  const std::string speed = machine->bead_steps_per_second() > 0
                                ? schema::NumberText(machine->bead_steps_per_second(), 3) + " bead-steps per second"
                                : "idle";
  std::vector<Row> rows = {{"server", "gyreboxd " + machine->version() + " at " + session.server.address},
                           {"up since", TimeText(machine->start_time())},
                           {"device", machine->device() + ", " + machine->device_description()},
                           {"why", machine->device_reason()},
                           {"threads", std::to_string(machine->thread_count())},
                           {"memory", BytesText(static_cast<double>(machine->memory_bytes())) + " for beds, " +
                                          BytesText(static_cast<double>(machine->used_memory_bytes())) + " in use"},
                           {"runs", std::to_string(machine->running_count()) + " running, " +
                                        std::to_string(machine->queued_count()) + " queued"},
                           {"speed", speed}};
  if (machine->load() > 0) rows.push_back({"load", schema::NumberText(100 * machine->load(), 3) + " %"});
  if (machine->draining()) rows.push_back({"drains", "no run starts; gyrebox machine --work resumes work"});
  if (!machine->trouble().empty()) rows.push_back({"TROUBLE", machine->trouble()});
  WriteAligned(std::cout, rows, {Align::kLeft, Align::kLeft});
  return kDone;
}

}  // namespace gyrebox::client
