#include "cuda/ensemble.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <map>
#include <tuple>

#include "cuda/columns.h"

namespace gyrebox::kernels::cuda {
namespace {

// Max substeps of all beds in a round: enough to keep the device busy while the host plans as many more.
constexpr std::size_t kMaxRequests = std::size_t{1} << 15;
constexpr std::uint32_t kMaxSubsteps = 4096;  // of one batch
// Further limits on the tables of a round, for any number of beds and any sampling interval: requests per launch, and
// samples, besides one for each bed.
constexpr std::size_t kMaxRequestsOfLaunch = std::size_t{1} << 17;
constexpr std::size_t kMaxSamples = 1024;

ModeName ModeOf(const DeviceBed& bed, bool thermal) {
  const RunSpec& spec = bed.course().spec();
  if (bed.course().brownian()) return ModeName::kBrownian;
  if (bed.course().converged()) return ModeName::kConverged;
  if (spec.force.law != ForceSpec::Law::kExponential) return ModeName::kLaggedAnyForce;
  return thermal ? ModeName::kLaggedThermal : ModeName::kLagged;
}

/// The mode of a launch for beds that share a mode. Beds of both orders share a launch, so that they run concurrently.
ModeName ModeOfLaunch(ModeName mode, bool carries) {
  if (carries) return mode;
  if (mode == ModeName::kLagged) return ModeName::kLaggedFirstOrder;
  return mode == ModeName::kLaggedThermal ? ModeName::kLaggedThermalFirstOrder : mode;
}

bool KeepIsDue(const Course& course) { return course.at_keep() && !course.has_kept_now(); }

}  // namespace

// Tables of one round, and its expected results.
struct CudaEnsemble::Round {
  struct PlannedLaunch {
    Launch launch;  // all but its data
    std::size_t first_batch = 0;
    bool measure = false;  // any of its beds is probed
  };

  Round(Driver& driver, int which)
      : mark(which),
        requests(driver),
        settings(driver),
        own_drives(driver),
        batches(driver),
        probes(driver),
        measured(driver),
        statuses(driver) {}

  void Clear(std::size_t n_beds) {
    planned_requests.clear();
    planned.steps.clear();
    planned.own_drives.clear();
    planned_batches.clear();
    launches.clear();
    pending.clear();
    starts.assign(n_beds, std::nullopt);
  }

  const int mark;
  std::vector<StepRequest> planned_requests;
  DeviceBed::Settings planned;
  std::vector<StepBatch> planned_batches;
  std::vector<PlannedLaunch> launches;
  std::vector<Pending> pending;                            // by slot
  std::vector<std::optional<DeviceBed::Position>> starts;  // (beds) set for beds that take part

  SharedTable<StepRequest> requests;
  SharedTable<StepSettings> settings;
  SharedTable<PerSpinnerDriveNumbers> own_drives;
  std::unique_ptr<DeviceBlock> numbers;  // StepNumbers, for the largest number of requests so far
  std::size_t numbers_room = 0;
  SharedTable<StepBatch> batches;
  SharedTable<Probe> probes;
  SharedTable<MeasuredSums> measured;
  SharedTable<BedStatus> statuses;
};

CudaEnsemble::CudaEnsemble(std::span<const RunSpec> specs, std::shared_ptr<Driver> driver)
    : driver_(std::move(driver)), plans_(*driver_), statuses_(*driver_) {
  for (std::unique_ptr<Round>& round : rounds_) {
    round = std::make_unique<Round>(*driver_, &round == &rounds_[0] ? 0 : 1);
  }
  std::vector<StartState> starts(specs.size());
  tbb::parallel_for(std::size_t{0}, specs.size(), [&](std::size_t i) { starts[i] = GenerateInitialState(specs[i]); });
  for (std::size_t i = 0; i < specs.size(); ++i) {
    beds_.push_back(std::make_unique<DeviceBed>(*driver_, specs[i], starts[i]));
    starts[i] = {};
  }
  goals_.resize(beds_.size());
  statuses_.Resize(beds_.size());
  for (std::size_t i = 0; i < beds_.size(); ++i) statuses_[i] = beds_[i]->status();
  statuses_.Send();
  SendPlans();
}

// Waits, because running work may still read the memory that is about to be released.
CudaEnsemble::~CudaEnsemble() {
  try {
    driver_->Wait();
  } catch (const std::exception&) {  // the next user of the device gets the error
  }
}

void CudaEnsemble::SendPlans() {
  plans_.Resize(beds_.size());
  for (std::size_t i = 0; i < beds_.size(); ++i) plans_[i] = beds_[i]->plan();
  plans_.Send();
  driver_->Wait();
}

void CudaEnsemble::SendStatus(std::size_t bed) {
  statuses_[bed] = beds_[bed]->status();
  driver_->CopyIn(statuses_.there() + bed, &statuses_[bed], sizeof(BedStatus));
  driver_->Wait();
}

// Whether a bed can take more steps without action by the host.
bool CudaEnsemble::Goes(std::size_t bed) const {
  const Course& course = beds_[bed]->course();
  const Goal& goal = goals_[bed];
  return course.running() && !goal.closed && !goal.stopped && (course.step() < goal.step || course.at_end()) &&
         !KeepIsDue(course);
}

std::vector<RunChunk> CudaEnsemble::Advance(std::int64_t steps) {
  std::vector<RunChunk> chunks(beds_.size());
  for (std::size_t i = 0; i < beds_.size(); ++i) {
    const Course& course = beds_[i]->course();
    goals_[i] = {std::min(course.step() + steps, course.spec().n_steps), false, false};
  }
  for (bool more = true; more;) {
    Round* under_way = nullptr;
    for (int turn = 0;; turn ^= 1) {
      Round& next = *rounds_[turn];
      const bool planned = Plan(next);
      if (planned) Enqueue(next);
      if (under_way != nullptr) Collect(*under_way, chunks);
      under_way = planned ? &next : nullptr;
      if (!planned) break;
    }
    Settle(chunks);
    more = false;
    for (std::size_t i = 0; i < beds_.size(); ++i) more |= Goes(i);
  }
  for (std::size_t i = 0; i < beds_.size(); ++i) beds_[i]->course().Close(chunks[i]);
  return chunks;
}

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
  const std::size_t first_number = round.planned_requests.size();
  round.planned_requests.resize(first_number + beds.size() * (substeps + 1));
  std::vector<DeviceBed::Settings> planned(beds.size());
  bool plans_changed = false;
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
  for (const std::size_t k : alone) {
    const bool differed = beds_[beds[k]]->plan().memory.own.numbers != nullptr;
    plan_one(k);
    plans_changed |= differed != (beds_[beds[k]]->plan().memory.own.numbers != nullptr);
  }
  if (plans_changed) SendPlans();

  std::map<std::tuple<bool, bool, ModeName>, std::vector<StepBatch>> groups;
  for (std::size_t k = 0; k < beds.size(); ++k) {
    DeviceBed& bed = *beds_[beds[k]];
    const Course& course = bed.course();
    StepBatch batch;
    batch.bed = beds[k];
    batch.first_number = static_cast<std::uint32_t>(first_number + k * (substeps + 1));
    batch.substeps = substeps;
    bool thermal = false;
    for (StepSettings& settings : planned[k].steps) {
      thermal |= settings.thermal;
      if (settings.per_spinner_drive >= 0)
        settings.per_spinner_drive += static_cast<std::int32_t>(round.planned.own_drives.size());
    }
    for (std::uint32_t s = 0; s <= substeps; ++s) {
      round.planned_requests[batch.first_number + s].settings += static_cast<std::uint32_t>(round.planned.steps.size());
    }
    const auto append = [](auto& to, const auto& from) { to.insert(to.end(), from.begin(), from.end()); };
    append(round.planned.steps, planned[k].steps);
    append(round.planned.own_drives, planned[k].own_drives);
    if (course.at_sample() && !KeepIsDue(course) && (course.step() < goals_[beds[k]].step || course.at_end())) {
      batch.probe = true;
      batch.slot = static_cast<std::int32_t>(round.pending.size());
      const Moment moment = bed.moment();
      batch.whole = moment.whole;
      round.pending.push_back({beds[k], static_cast<std::uint32_t>(batch.slot), moment});
      bed.set_sampled_at(course.step());
      goals_[beds[k]].closed = course.at_end();
    }
    groups[{bed.resident(), bed.plan().wide, ModeOf(bed, thermal)}].push_back(batch);
  }
  for (const auto& [kind, batches] : groups) AddLaunch(round, std::get<ModeName>(kind), batches);
}

void CudaEnsemble::AddLaunch(Round& round, ModeName mode, const std::vector<StepBatch>& batches) {
  Round::PlannedLaunch planned;
  Launch& launch = planned.launch;
  launch.resident = beds_[batches[0].bed]->resident();
  launch.wide = beds_[batches[0].bed]->plan().wide;
  launch.mode = ModeOfLaunch(mode, std::any_of(batches.begin(), batches.end(), [&](const StepBatch& batch) {
                               return beds_[batch.bed]->plan().memory.motion != nullptr;
                             }));
  launch.n_batches = static_cast<std::uint32_t>(batches.size());
  for (const StepBatch& batch : batches) {
    const BedPlan& plan = beds_[batch.bed]->plan();
    launch.max_beads = std::max(launch.max_beads, plan.stride);
    if (launch.resident) launch.shared_bytes = std::max(launch.shared_bytes, beds_[batch.bed]->shared_bytes());
    planned.measure |= batch.probe;
  }
  planned.first_batch = round.planned_batches.size();
  round.planned_batches.insert(round.planned_batches.end(), batches.begin(), batches.end());
  round.launches.push_back(planned);
}

void CudaEnsemble::Enqueue(Round& round) {
  round.requests.Set(round.planned_requests);
  round.settings.Set(round.planned.steps);
  round.own_drives.Set(round.planned.own_drives);
  if (round.planned_requests.size() > round.numbers_room) {
    driver_->Wait();
    round.numbers_room = round.planned_requests.size() * 3 / 2;
    round.numbers.reset();
    round.numbers = std::make_unique<DeviceBlock>(*driver_, round.numbers_room * sizeof(StepNumbers));
  }
  round.batches.Set(round.planned_batches);
  round.probes.Resize(round.pending.size());
  round.measured.Resize(round.pending.size());
  round.statuses.Resize(beds_.size());
  std::fill(round.probes.here().begin(), round.probes.here().end(), Probe());
  round.probes.Send();
  for (const Round::PlannedLaunch& planned : round.launches) {
    Launch launch = planned.launch;
    launch.data = {plans_.there(),
                   statuses_.there(),
                   round.requests.there(),
                   round.settings.there(),
                   static_cast<StepNumbers*>(round.numbers->at()),
                   round.own_drives.there(),
                   round.batches.there() + planned.first_batch,
                   round.probes.there(),
                   round.measured.there()};
    driver_->Run(launch);
    if (planned.measure) driver_->Measure(launch);
  }
  round.probes.Fetch();
  round.measured.Fetch();
  driver_->CopyOut(round.statuses.here().data(), statuses_.there(), beds_.size() * sizeof(BedStatus));
  driver_->Mark(round.mark);
}

void CudaEnsemble::Collect(Round& round, std::vector<RunChunk>& chunks) {
  driver_->WaitFor(round.mark);
  std::vector<Sample> samples(round.pending.size());
  tbb::parallel_for(std::size_t{0}, round.pending.size(), [&](std::size_t k) {
    const Pending& pending = round.pending[k];
    if (!round.probes[pending.slot].taken) return;
    samples[k] = {pending.moment.step, pending.moment.time,
                  ColumnsOf(round.measured[pending.slot], round.probes[pending.slot],
                            beds_[pending.bed]->course().spec(), pending.moment.temperature, pending.moment.whole)};
  });
  for (std::size_t k = 0; k < round.pending.size(); ++k) {
    const Pending& pending = round.pending[k];
    if (!round.probes[pending.slot].taken) continue;
    Course& course = beds_[pending.bed]->course();
    course.Hold(std::move(samples[k]));
    beds_[pending.bed]->samples_stand(pending.moment.step);
    course.Warning(round.probes[pending.slot].residual, pending.moment.time, chunks[pending.bed]);
  }
  for (std::size_t i = 0; i < beds_.size(); ++i) {
    if (!round.starts[i] || goals_[i].stopped) continue;
    DeviceBed& bed = *beds_[i];
    bed.status() = round.statuses[i];
    if (bed.status().stop == Stop::kNone) continue;
    goals_[i].stopped = true;
    goals_[i].closed = false;
    bed.RewindTo(*round.starts[i]);
  }
}

// Once the device is idle: handles the beds that it stopped, keeps states that are due, and closes runs.
void CudaEnsemble::Settle(std::vector<RunChunk>& chunks) {
  driver_->Wait();
  for (std::size_t i = 0; i < beds_.size(); ++i) {
    DeviceBed& bed = *beds_[i];
    Course& course = bed.course();
    if (!course.running()) continue;
    if (goals_[i].stopped) {
      goals_[i].stopped = false;
      if (bed.status().stop == Stop::kListFull) {
        bed.GrowLists(bed.status().max_partners);
        bed.status().stop = Stop::kNone;
        SendPlans();
        SendStatus(i);
        continue;
      }
      bed.DescribeFault();
      course.Warning(bed.status().residual, course.time(), chunks[i]);
      const BedState* kept = course.Retry(chunks[i]);
      if (kept == nullptr) continue;
      const BedState state = *kept;
      Load(i, state);
      course.GoOnHalved();
      goals_[i].step = course.step();  // its chunk ends here
    } else if (goals_[i].closed) {
      course.Finish();
    } else if (KeepIsDue(course)) {
      course.Keep(bed.Save(), chunks[i]);
    }
  }
}

void CudaEnsemble::Load(std::size_t run, const BedState& state) {
  DeviceBed& bed = *beds_[run];
  bed.BeginLoad(state);
  for (;;) {
    SendPlans();
    SendStatus(run);
    // Rebuild the lists at the positions of their last build.
    Round& round = *rounds_[0];
    round.Clear(beds_.size());
    round.planned_requests.resize(1);
    round.planned.steps.resize(1);
    StepBatch batch;
    batch.bed = static_cast<std::uint32_t>(run);
    batch.prepare = true;
    AddLaunch(round, ModeOf(bed, true), {batch});
    Enqueue(round);
    driver_->Wait();
    bed.status() = round.statuses[run];
    if (bed.status().stop != Stop::kListFull) break;
    bed.GrowLists(bed.status().max_partners);
    bed.status().stop = Stop::kNone;
  }
  bed.FinishLoad(state);
  SendStatus(run);
}

Ensemble::RebuildStats CudaEnsemble::rebuilds() const {
  RebuildStats stats;
  for (const auto& bed : beds_) stats.count += static_cast<std::int64_t>(bed->status().rebuilds);
  return stats;
}

}  // namespace gyrebox::kernels::cuda
