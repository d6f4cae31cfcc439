#include "output/run_notes.h"

#include <vector>

#include "output/text.h"
#include "output/text_table.h"
#include "schema/number_text.h"

namespace gyrebox::client {

std::string CauseText(v1::Fault::Cause cause) {
  switch (cause) {
    case v1::Fault::CAUSE_NUMERICAL:
      return " (numerical: half the time step gets past it)";
    case v1::Fault::CAUSE_PHYSICAL:
      return " (physical: no shorter time step tried gets past it)";
    default:
      return "";
  }
}

void WriteRunNotes(std::ostream& out, const std::vector<v1::Run>& runs) {
  std::vector<Row> rows = {{"run", "time [tau]", "what"}};
  for (const v1::Run& run : runs) {
    const std::string number = RunLabel(run);
    if (!run.warning().empty()) rows.push_back({number, "", run.warning()});
    for (const v1::Fault& fault : run.recovered_faults()) {
      rows.push_back(
          {number, schema::NumberText(fault.time(), 6), "got past: " + fault.message() + CauseText(fault.cause())});
    }
  }
  if (rows.size() == 1) return;
  out << "\nRuns that continued after a fault or with a warning; check their results:\n";
  WriteAligned(out, rows, {Align::kRight, Align::kRight, Align::kLeft});
}

void WriteSteered(std::ostream& out, const std::vector<v1::Run>& runs) {
  std::vector<Row> rows = {{"run", "what"}};
  for (const v1::Run& run : runs) {
    if (run.etag() == "0") continue;
    std::string text = run.etag() + (run.etag() == "1" ? " entry" : " entries") + " in its journal";
    if (run.ended_early()) text += "; ended early, at step " + std::to_string(run.total_steps());
    rows.push_back({RunLabel(run), text});
  }
  if (rows.size() == 1) return;
  out << "\nRuns that users changed (see gyrebox journal):\n";
  WriteAligned(out, rows, {Align::kRight, Align::kLeft});
}

void WriteExcluded(std::ostream& out, const std::vector<v1::Run>& runs) {
  std::vector<Row> rows = {{"run", "by", "when", "why"}};
  for (const v1::Run& run : runs) {
    if (!run.has_exclusion()) continue;
    const v1::Exclusion& exclusion = run.exclusion();
    rows.push_back({RunLabel(run), exclusion.user(), TimeText(exclusion.create_time()), exclusion.reason()});
  }
  if (rows.size() == 1) return;
  out << "\nRuns that users excluded from every average:\n";
  WriteAligned(out, rows, {Align::kRight, Align::kLeft, Align::kLeft, Align::kLeft});
}

}  // namespace gyrebox::client
