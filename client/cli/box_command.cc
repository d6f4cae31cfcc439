#include <iostream>

#include "cli/commands.h"
#include "cli/text.h"
#include "cli/text_table.h"
#include "schema/number_text.h"

namespace gyrebox::client {

ExitCode ShowBox(const Session& session, std::optional<bool> drain) {
  Client client(session.server);
  const auto box = drain ? client.DrainBox(*drain) : client.GetBox();
  if (!box.ok()) return Report(session, box.status());
  if (session.json) {
    PrintJson(*box);
    return kDone;
  }
  const std::string speed = box->bead_steps_per_second() > 0
                                ? schema::NumberText(box->bead_steps_per_second(), 3) + " bead-steps per second"
                                : "idle";
  std::vector<Row> rows = {
      {"server", "gyreboxd " + box->version() + " at " + session.server.address},
      {"up since", TimeText(box->start_time())},
      {"device", box->device() + ", " + box->device_description()},
      {"why", box->device_reason()},
      {"threads", std::to_string(box->thread_count())},
      {"memory", BytesText(static_cast<double>(box->memory_bytes())) + " for beds, " +
                     BytesText(static_cast<double>(box->used_memory_bytes())) + " in use"},
      {"runs", std::to_string(box->running_count()) + " running, " + std::to_string(box->queued_count()) + " queued"},
      {"speed", speed}};
  if (box->load() > 0) rows.push_back({"load", schema::NumberText(100 * box->load(), 3) + " %"});
  if (box->draining()) rows.push_back({"drains", "no run starts; gyrebox box --work lets it work again"});
  if (!box->trouble().empty()) rows.push_back({"TROUBLE", box->trouble()});
  WriteAligned(std::cout, rows, {Align::kLeft, Align::kLeft});
  return kDone;
}

}  // namespace gyrebox::client
