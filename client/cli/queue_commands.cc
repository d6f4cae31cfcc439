#include <iostream>

#include "cli/commands.h"
#include "cli/text.h"
#include "cli/text_table.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

static void PrintWork(const v1::Box& box) {
  std::vector<Row> rows = {{"study", "owner", "priority", "on device", "waiting", ""}};
  for (const v1::QueueEntry& entry : box.queue()) {
    rows.push_back({entry.study(), entry.owner(), std::to_string(entry.priority()),
                    std::to_string(entry.device_count()), std::to_string(entry.queued_count()),
                    entry.has_slice() ? "now" : ""});
  }
  WriteAligned(std::cout, rows,
               {Align::kLeft, Align::kLeft, Align::kRight, Align::kRight, Align::kRight, Align::kLeft});
}

static void PrintShares(const v1::Box& box) {
  std::vector<Row> rows = {{"person", "recent use [s]", "share", "beads on device", "waiting", "on disk"}};
  for (const v1::PersonShare& share : box.shares()) {
    rows.push_back({share.person(), schema::NumberText(share.used_seconds(), 3),
                    schema::NumberText(100 * share.share(), 3) + " %", std::to_string(share.device_bead_count()),
                    std::to_string(share.queued_count()), BytesText(static_cast<double>(share.stored_byte_count()))});
  }
  WriteAligned(std::cout, rows,
               {Align::kLeft, Align::kRight, Align::kRight, Align::kRight, Align::kRight, Align::kRight});
}

ExitCode Queue(const Session& session) {
  const auto box = Client(session.server).GetBox();
  if (!box.ok()) return Report(session, box.status());
  if (session.json) {
    PrintJson(*box);
    return kDone;
  }
  if (box->draining()) std::cout << "The device is emptied by the operator; no run starts.\n";
  if (!box->trouble().empty()) std::cout << "TROUBLE: " << schema::Visible(box->trouble()) << "\n";
  if (box->queue().empty()) {
    std::cout << "Nothing runs and nothing waits.\n";
  } else {
    PrintWork(*box);
  }
  if (box->shares().empty()) return kDone;
  std::cout << "\n";
  PrintShares(*box);
  return kDone;
}

ExitCode Prioritize(const Session& session, const std::string& name, int priority) {
  const auto moved = Client(session.server).PrioritizeRuns(RunName(name), priority);
  if (!moved.ok()) return Report(session, moved.status());
  std::cerr << Plural(moved->run_count(), "run") << " of " << RunName(name) << " now at priority " << priority << "\n";
  return kDone;
}

}  // namespace gyrebox::client
