#include "output/live_answers.h"

#include <algorithm>
#include <set>

namespace gyrebox::client {

constexpr std::chrono::seconds kLeastPause{3};
/// Slow answers are requested less often: analysis takes at most a twentieth of the time.
constexpr int kPausePerAnswer = 20;
/// Max length of a summary in characters; the report has the rest.
constexpr size_t kLongestAnswer = 300;

static bool Leads(const v1::Answer& answer) {
  switch (answer.topic()) {
    case v1::Answer::TOPIC_AUDIT:
      return !answer.cautions().empty();  // some size moves with the time step
    case v1::Answer::TOPIC_MAP:
    case v1::Answer::TOPIC_SWITCHING:
    case v1::Answer::TOPIC_MEMORY:
    case v1::Answer::TOPIC_LOOP:
      return true;
    default:
      return false;
  }
}

/// The first sentences of a text, up to kLongestAnswer; at least one.
static std::string FirstSentences(const std::string& text) {
  if (text.size() <= kLongestAnswer) return text;
  const size_t end = std::max(text.rfind(". ", kLongestAnswer) + 1, text.find(". ") + 1);
  return end == 0 ? text : text.substr(0, end);
}

/// What the server notes on the numbers of an answer and a summary must not leave out: "; interpolated: onset".
static std::string NotesOf(const v1::Answer& answer) {
  std::string text;
  for (const char* word : {"interpolated", "still growing"}) {
    std::set<std::string> names;
    for (const v1::Quantity& quantity : answer.quantities()) {
      if (quantity.note().find(word) != std::string::npos) names.insert(quantity.name());
    }
    std::string list;
    for (const std::string& name : names) list += (list.empty() ? "" : ", ") + name;
    if (!list.empty()) text += (text.empty() ? " (" : "; ") + std::string(word) + ": " + list;
  }
  return text.empty() ? "" : text + ")";
}

std::vector<std::string> LeadingAnswers(const v1::Answers& answers) {
  std::vector<std::string> lines;
  for (const v1::Answer& answer : answers.answers()) {
    if (Leads(answer) && !answer.summary().empty()) lines.push_back(FirstSentences(answer.summary()) + NotesOf(answer));
  }
  for (const v1::Answer& answer : answers.answers()) {
    if (!lines.empty() || answer.summary().empty()) continue;
    lines.push_back(FirstSentences(answer.summary()) + NotesOf(answer));
  }
  if (lines.empty()) return lines;
  const v1::RunCounts& counts = answers.run_counts();
  const bool all = counts.finished_count() == counts.total_count();
  lines.insert(lines.begin(), (all ? "From all " + std::to_string(counts.total_count()) + " runs:"
                                   : "From " + std::to_string(counts.finished_count()) + " of " +
                                         std::to_string(counts.total_count()) + " runs:"));
  return lines;
}

void LiveAnswers::Ask(const v1::Study& study) {
  finished_ = study.run_counts().finished_count();
  begin_ = Clock::now();
  asked_ = std::async(std::launch::async, [this, name = study.name()] { return client_.AnalyseStudy(name, {}); });
}

void LiveAnswers::Take() {
  if (!asked_.valid()) return;
  const auto answers = asked_.get();
  next_ = Clock::now() + std::max<Clock::duration>(kLeastPause, (Clock::now() - begin_) * kPausePerAnswer);
  if (answers.ok()) lines_ = LeadingAnswers(*answers);  // else no line is shown; the report gives the reason
}

void LiveAnswers::Follow(const v1::Study& study) {
  if (asked_.valid() && asked_.wait_for(std::chrono::seconds(0)) != std::future_status::ready) return;
  Take();
  if (study.run_counts().finished_count() > finished_ && Clock::now() >= next_) Ask(study);
}

void LiveAnswers::Finish(const v1::Study& study) {
  Take();
  if (study.run_counts().finished_count() > finished_) Ask(study);
  Take();
}

}  // namespace gyrebox::client
