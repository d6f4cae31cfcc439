#include <tbb/parallel_for.h>

#include <algorithm>
#include <map>
#include <tuple>

#include "cuda/ensemble.h"
#include "cuda/modes.h"
#include "cuda/round.h"

namespace gyrebox::kernels::cuda {
namespace {

// Max substeps of all beds in a round: enough to keep the device busy while the host plans as many more.
constexpr std::size_t kMaxRequests = std::size_t{1} << 15;
constexpr std::uint32_t kMaxSubsteps = 4096;  // of one batch
// Further limits on the tables of a round, for any number of beds and any sampling interval: requests per launch, and
// samples, besides one for each bed.
constexpr std::size_t kMaxRequestsOfLaunch = std::size_t{1} << 17;
constexpr std::size_t kMaxSamples = 1024;

// Adds the settings of a batch to those of the round.
void AddSettings(Round& round, const StepBatch& batch, DeviceBed::Settings& planned) {
  const auto append = [](auto& to, const auto& from) { to.insert(to.end(), from.begin(), from.end()); };
  for (StepSettings& settings : planned.steps) {
    if (settings.per_spinner_drive < 0) continue;
    settings.per_spinner_drive += static_cast<std::int32_t>(round.planned.own_drives.size());
  }
  for (std::uint32_t s = 0; s <= batch.substeps; ++s) {
    round.planned_requests[batch.first_number + s].settings += static_cast<std::uint32_t>(round.planned.steps.size());
  }
  append(round.planned.steps, planned.steps);
  append(round.planned.own_drives, planned.own_drives);
}

}  // namespace

// Plans launches until all beds are at their goals or the tables are full. False if there is nothing to do.
bool CudaEnsemble::Plan(Round& round) {
  round.Clear(beds_.size());
  const auto has_room = [&] {
    return round.planned_requests.size() < kMaxRequests && round.pending.size() < kMaxSamples;
  };
  for (bool first = true; first || has_room(); first = false) {
    std::vector<std::uint32_t> going, due;
    for (std::uint32_t i = 0; i < beds_.size(); ++i) {
      if (!Goes(i)) continue;
      going.push_back(i);
      // A sample is due at the step from which a run starts or continues.
      const DeviceBed& bed = *beds_[i];
      if (bed.course().at_sample() && bed.sampled_at() < bed.course().step()) due.push_back(i);
    }
    if (going.empty()) break;
    if (!due.empty()) {
      PlanLaunch(round, due, 0);
    } else {
      PlanLaunch(round, going, CommonDistance(going));
    }
  }
  return !round.launches.empty();
}

// Substeps that all of these beds can take at once: up to the first point where one of them needs the host, or as many
// as the tables hold.
std::uint32_t CudaEnsemble::CommonDistance(const std::vector<std::uint32_t>& beds) const {
  const std::size_t held = std::max<std::size_t>(kMaxRequestsOfLaunch / beds.size(), 2) - 1;
  std::int64_t least = static_cast<std::int64_t>(std::min<std::size_t>(kMaxSubsteps, held));
  for (const std::uint32_t i : beds) {
    const Course& course = beds_[i]->course();
    const RunSpec& spec = course.spec();
    const auto next = [&](std::int64_t every) { return (course.step() / every + 1) * every; };
    std::int64_t stop = std::min(goals_[i].step, next(spec.measure.interval_steps));
    if (spec.retry.max_halvings > 0) stop = std::min(stop, next(spec.retry.keep_steps));
    least = std::min(least, (stop - course.step()) * course.substeps() - course.substep());
  }
  return static_cast<std::uint32_t>(least);
}

// Plans one batch for each of these beds, with a probe if a sample is due at its end.
void CudaEnsemble::PlanLaunch(Round& round, const std::vector<std::uint32_t>& beds, std::uint32_t substeps) {
  const auto first_number = static_cast<std::uint32_t>(round.planned_requests.size());
  std::vector<DeviceBed::Settings> planned = PlanSubsteps(round, beds, substeps);
  std::map<std::tuple<bool, bool, std::int32_t>, std::vector<StepBatch>> groups;  // by resident, wide, mode
  for (std::uint32_t k = 0; k < beds.size(); ++k) {
    const DeviceBed& bed = *beds_[beds[k]];
    StepBatch batch;
    batch.bed = beds[k];
    batch.first_number = first_number + k * (substeps + 1);
    batch.substeps = substeps;
    const bool thermal = std::any_of(planned[k].steps.begin(), planned[k].steps.end(),
                                     [](const StepSettings& settings) { return settings.thermal; });
    AddSettings(round, batch, planned[k]);
    AddProbe(round, batch);
    groups[{bed.resident(), bed.plan().wide, ModeOf(bed, thermal)}].push_back(batch);
  }
  for (const auto& [kind, batches] : groups) AddLaunch(round, std::get<std::int32_t>(kind), batches);
}

// Plans the substeps of these beds, and adds their requests to the round. @return settings, by bed.
std::vector<DeviceBed::Settings> CudaEnsemble::PlanSubsteps(Round& round, const std::vector<std::uint32_t>& beds,
                                                            std::uint32_t substeps) {
  const std::size_t first_number = round.planned_requests.size();
  round.planned_requests.resize(first_number + beds.size() * (substeps + 1));
  std::vector<DeviceBed::Settings> planned(beds.size());
  for (const std::uint32_t i : beds) {
    if (!round.starts[i]) round.starts[i] = beds_[i]->position();
  }
  const auto plan_one = [&](std::size_t k) {
    beds_[beds[k]]->PlanSubsteps(substeps, &round.planned_requests[first_number + k * (substeps + 1)], planned[k]);
  };
  // Beds with per-spinner drives may need memory, which only one thread may allocate.
  std::vector<std::size_t> alone, together;
  for (std::size_t k = 0; k < beds.size(); ++k) (beds_[beds[k]]->may_differ() ? alone : together).push_back(k);
  tbb::parallel_for(std::size_t{0}, together.size(), [&](std::size_t k) { plan_one(together[k]); });
  bool plans_changed = false;
  for (const std::size_t k : alone) {
    const bool differed = beds_[beds[k]]->plan().memory.own.numbers != nullptr;
    plan_one(k);
    plans_changed |= differed != (beds_[beds[k]]->plan().memory.own.numbers != nullptr);
  }
  if (plans_changed) SendPlans();
  return planned;
}

// Adds a probe to a batch if a sample is due at its end.
void CudaEnsemble::AddProbe(Round& round, StepBatch& batch) {
  DeviceBed& bed = *beds_[batch.bed];
  const Course& course = bed.course();
  Goal& goal = goals_[batch.bed];
  if (!course.at_sample() || course.keep_is_due() || !(course.step() < goal.step || course.at_end())) return;
  const Moment moment = bed.moment();
  batch.probe = true;
  batch.slot = static_cast<std::int32_t>(round.pending.size());
  batch.whole = moment.whole;
  round.pending.push_back({batch.bed, static_cast<std::uint32_t>(batch.slot), moment});
  bed.set_sampled_at(course.step());
  goal.closed = course.at_end();
}

// The mode for a bed of either order, so that beds of both orders share a launch and run concurrently.
std::int32_t CudaEnsemble::ModeOf(const DeviceBed& bed, bool thermal) {
  const RunSpec& spec = bed.course().spec();
  return ModeFor({spec.dynamics.equation, thermal, spec.force.law != ForceSpec::Law::kExponential, true});
}

// Adds a launch of batches that share a mode.
void CudaEnsemble::AddLaunch(Round& round, std::int32_t mode, const std::vector<StepBatch>& batches) {
  Round::PlannedLaunch planned;
  Launch& launch = planned.launch;
  launch.resident = beds_[batches[0].bed]->resident();
  launch.wide = beds_[batches[0].bed]->plan().wide;
  launch.n_batches = static_cast<std::uint32_t>(batches.size());
  ModeTraits needs = kModes[mode];
  needs.may_carry = false;
  for (const StepBatch& batch : batches) {
    const DeviceBed& bed = *beds_[batch.bed];
    needs.may_carry |= bed.apart();
    launch.max_beads = std::max(launch.max_beads, bed.plan().stride);
    if (launch.resident) launch.shared_bytes = std::max(launch.shared_bytes, bed.shared_bytes());
    planned.measure |= batch.probe;
  }
  launch.mode = ModeFor(needs);
  planned.first_batch = round.planned_batches.size();
  round.planned_batches.insert(round.planned_batches.end(), batches.begin(), batches.end());
  round.launches.push_back(planned);
}

}  // namespace gyrebox::kernels::cuda
