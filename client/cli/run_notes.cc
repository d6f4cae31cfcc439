#include "cli/run_notes.h"

#include <vector>

#include "cli/text.h"
#include "cli/text_table.h"
#include "schema/number_text.h"

namespace gyrebox::client {

std::string NatureText(v1::Fault::Nature nature) {
  switch (nature) {
    case v1::Fault::NATURE_NUMERICAL:
      return " (numerical: half the time step gets past it)";
    case v1::Fault::NATURE_PHYSICAL:
      return " (physical: no shorter time step that was tried gets past it)";
    default:
      return "";
  }
}

void WriteRunNotes(std::ostream& out, const std::vector<v1::Run>& runs) {
  std::vector<Row> rows = {{"run", "time [tau]", "what"}};
  for (const v1::Run& run : runs) {
    const std::string number = RunLabel(run);
    if (!run.alarm().empty()) rows.push_back({number, "", run.alarm()});
    for (const v1::Fault& fault : run.faults_passed()) {
      rows.push_back(
          {number, schema::NumberText(fault.time(), 6), "got past: " + fault.message() + NatureText(fault.nature())});
    }
  }
  if (rows.size() == 1) return;
  out << "\nRuns that went on, whose figures need a second look:\n";
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
  out << "\nRuns that people changed (gyrebox journal tells how):\n";
  WriteAligned(out, rows, {Align::kRight, Align::kLeft});
}

void WriteExcluded(std::ostream& out, const std::vector<v1::Run>& runs) {
  std::vector<Row> rows = {{"run", "by", "when", "why"}};
  for (const v1::Run& run : runs) {
    if (!run.has_exclusion()) continue;
    const v1::Exclusion& exclusion = run.exclusion();
    rows.push_back({RunLabel(run), exclusion.person(), TimeText(exclusion.create_time()), exclusion.reason()});
  }
  if (rows.size() == 1) return;
  out << "\nRuns that people left out of every average:\n";
  WriteAligned(out, rows, {Align::kRight, Align::kLeft, Align::kLeft, Align::kLeft});
}

}  // namespace gyrebox::client
