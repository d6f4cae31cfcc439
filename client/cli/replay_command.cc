#include <cstring>
#include <iostream>
#include <map>
#include <optional>

#include "cli/commands.h"
#include "cli/text.h"
#include "schema/number_text.h"

namespace gyrebox::client {

static bool SameBits(double a, double b) { return std::memcmp(&a, &b, sizeof a) == 0; }

/// Name of a value of a sample, by its place.
static std::string NameOf(const v1::ListSamplesResponse& series, int place) {
  for (const v1::Observable& observable : series.observables()) {
    if (place < observable.width()) {
      return observable.width() == 1 ? observable.name() : observable.name() + "_" + std::to_string(place);
    }
    place -= observable.width();
  }
  return "value " + std::to_string(place);
}

/// Where two samples of one step differ first; none where they do not. Before a run was extended its last sample held
/// more than one in the middle does: what only one of the two holds is not compared.
static std::optional<int> Difference(const v1::Sample& a, const v1::Sample& b) {
  if (a.values_size() != b.values_size()) return 0;
  for (int i = 0; i < a.values_size(); ++i) {
    const bool both = !(a.values(i) != a.values(i)) && !(b.values(i) != b.values(i));
    if (both && !SameBits(a.values(i), b.values(i))) return i;
  }
  return std::nullopt;
}

/// Compares two series, and says what came of it.
static ExitCode Compare(const v1::ListSamplesResponse& first, const v1::ListSamplesResponse& again,
                        const std::string& run, const std::string& replay) {
  std::map<int64_t, const v1::Sample*> by_step;
  for (const v1::Sample& sample : again.samples()) by_step[sample.step()] = &sample;
  int64_t compared = 0;
  for (const v1::Sample& sample : first.samples()) {
    const auto found = by_step.find(sample.step());
    if (found == by_step.end()) continue;
    ++compared;
    const auto place = Difference(sample, *found->second);
    if (!place) continue;
    std::cout << run << " and " << replay << " differ first at step " << sample.step()
              << ", t = " << schema::NumberText(sample.time(), 6) << " tau, in " << NameOf(first, *place) << ": "
              << schema::NumberText(sample.values(*place)) << " and "
              << schema::NumberText(found->second->values(*place)) << "\n";
    return kRefused;
  }
  const int64_t missing = first.samples_size() - compared;
  std::cout << run << " and " << replay << ": all " << compared << " samples have the same bits";
  if (missing > 0) std::cout << "; " << missing << " at ends that were moved later stand in one of them only";
  std::cout << "\n";
  return kDone;
}

ExitCode Replay(const Session& session, const std::string& given) {
  Client client(session.server);
  const std::string run = RunName(given);
  const auto original = client.GetRun(run);
  if (!original.ok()) return Report(session, original.status());
  if (!original->has_end_time()) {
    std::cerr << "gyrebox: " << run << " is " << StateText(original->state())
              << "; a replay is of a run at its end: wait, or gyrebox finish it\n";
    return kRefused;
  }
  const auto study = client.ReplayRun(run);
  if (!study.ok()) return Report(session, study.status());
  std::cerr << study->name() << "\n";
  if (const ExitCode code = Watch(session, study->name(), /*tell_answers=*/false); code == kNotReachable) return code;
  const std::string replay = study->name() + "/runs/1";
  const auto first = client.ListSamples(run), again = client.ListSamples(replay);
  if (!first.ok()) return Report(session, first.status());
  if (!again.ok()) return Report(session, again.status());
  return Compare(*first, *again, run, replay);
}

}  // namespace gyrebox::client
