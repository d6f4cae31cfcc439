#include <iostream>

#include "commands/registry.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

static void PrintWork(const v1::Machine& machine) {
  std::vector<Row> rows = {{"study", "owner", "priority", "on device", "waiting", ""}};
  for (const v1::QueueEntry& entry : machine.queue()) {
    rows.push_back({entry.study(), entry.owner(), std::to_string(entry.priority()),
                    std::to_string(entry.device_count()), std::to_string(entry.queued_count()),
                    entry.has_slice() ? "now" : ""});
  }
  WriteAligned(std::cout, rows,
               {Align::kLeft, Align::kLeft, Align::kRight, Align::kRight, Align::kRight, Align::kLeft});
}

static void PrintShares(const v1::Machine& machine) {
  std::vector<Row> rows = {{"user", "recent use [s]", "fraction", "beads on device", "waiting", "on disk"}};
  for (const v1::UserShare& share : machine.shares()) {
    rows.push_back({share.user(), schema::NumberText(share.used_seconds(), 3),
                    schema::NumberText(100 * share.share(), 3) + " %", std::to_string(share.device_bead_count()),
                    std::to_string(share.queued_count()), BytesText(static_cast<double>(share.stored_byte_count()))});
  }
  WriteAligned(std::cout, rows,
               {Align::kLeft, Align::kRight, Align::kRight, Align::kRight, Align::kRight, Align::kRight});
}

static ExitCode Queue(const Session& session) {
  const auto machine = Client(session.server).GetMachine();
  if (!machine.ok()) return Report(session, machine.status());
  if (session.json) {
    PrintJson(*machine);
    return kDone;
  }
  if (machine->draining()) std::cout << "The operator is draining the device; no run starts.\n";
  if (!machine->trouble().empty()) std::cout << "TROUBLE: " << schema::Visible(machine->trouble()) << "\n";
  if (machine->queue().empty()) {
    std::cout << "No run is running or waiting.\n";
  } else {
    PrintWork(*machine);
  }
  if (machine->shares().empty()) return kDone;
  std::cout << "\n";
  PrintShares(*machine);
  return kDone;
}

static ExitCode Prioritize(const Session& session, const std::string& name, int priority) {
  const auto moved = Client(session.server).PrioritizeRuns(RunName(name), priority);
  if (!moved.ok()) return Report(session, moved.status());
  std::cerr << Plural(moved->run_count(), "run") << " of " << RunName(name) << " now at priority " << priority << "\n";
  return kDone;
}

void RegisterQueueCommands(Registry& registry) {
  registry.AddWithJson("queue", "Show the queue and how much each user has used", Queue);
  struct Options {
    std::string name;
    int priority = 0;
  };
  const auto o = std::make_shared<Options>();
  TakeStudyOrRun(registry.Add("prioritize", "Move your queued runs before or behind your other ones",
                              [o](const Session& session) { return Prioritize(session, o->name, o->priority); }),
                 &o->name)
      ->add_option("PRIORITY", o->priority, "-100 to 100; the highest comes first")
      ->required()
      ->check(CLI::Range(-100, 100));
}

}  // namespace gyrebox::client
