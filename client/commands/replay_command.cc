#include <cstring>
#include <iostream>
#include <map>
#include <optional>

#include "commands/registry.h"
#include "commands/watch.h"
#include "output/text.h"
#include "schema/number_text.h"

namespace gyrebox::client {

static bool SameBits(double a, double b) { return std::memcmp(&a, &b, sizeof a) == 0; }

/// Name of a value of a sample, by its index.
static std::string NameOf(const v1::ListSamplesResponse& series, int index) {
  for (const v1::Observable& observable : series.observables()) {
    if (index < observable.width()) {
      return observable.width() == 1 ? observable.name() : observable.name() + "_" + std::to_string(index);
    }
    index -= observable.width();
  }
  return "value " + std::to_string(index);
}

/// Index of the first value in which two samples of one step differ; none if they are equal. The last sample of a run
/// that was extended later holds more values than a sample in the middle: values that only one of the two holds are not
/// compared.
static std::optional<int> Difference(const v1::Sample& a, const v1::Sample& b) {
  if (a.values_size() != b.values_size()) return 0;
  for (int i = 0; i < a.values_size(); ++i) {
    const bool both = !(a.values(i) != a.values(i)) && !(b.values(i) != b.values(i));
    if (both && !SameBits(a.values(i), b.values(i))) return i;
  }
  return std::nullopt;
}

/// Compares two series and prints the result.
static ExitCode Compare(const v1::ListSamplesResponse& first, const v1::ListSamplesResponse& again,
                        const std::string& run, const std::string& replay) {
  std::map<int64_t, const v1::Sample*> by_step;
  for (const v1::Sample& sample : again.samples()) by_step[sample.step()] = &sample;
  int64_t compared = 0;
  for (const v1::Sample& sample : first.samples()) {
    const auto found = by_step.find(sample.step());
    if (found == by_step.end()) continue;
    ++compared;
    const auto index = Difference(sample, *found->second);
    if (!index) continue;
    std::cout << run << " and " << replay << " differ first at step " << sample.step()
              << ", t = " << schema::NumberText(sample.time(), 6) << " tau, in " << NameOf(first, *index) << ": "
              << schema::NumberText(sample.values(*index)) << " and "
              << schema::NumberText(found->second->values(*index)) << "\n";
    return kRefused;
  }
  const int64_t missing = first.samples_size() - compared;
  std::cout << run << " and " << replay << ": all " << compared << " samples have the same bits";
  if (missing > 0) std::cout << "; " << missing << " at ends that moved later exist in only one of them";
  std::cout << "\n";
  return kDone;
}

static ExitCode Replay(const Session& session, const std::string& given) {
  Client client(session.server);
  const std::string run = RunName(given);
  const auto original = client.GetRun(run);
  if (!original.ok()) return Report(session, original.status());
  if (!original->has_end_time()) {
    std::cerr << "gyrebox: " << run << " is " << StateText(original->state())
              << "; a replay needs an ended run: wait, or use gyrebox finish\n";
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

void RegisterReplayCommand(Registry& registry) {
  const auto name = std::make_shared<std::string>();
  TakeRun(registry.Add("replay", "Repeat a run with its whole journal and compare every bit",
                       [name](const Session& session) { return Replay(session, *name); }),
          name.get());
}

}  // namespace gyrebox::client
