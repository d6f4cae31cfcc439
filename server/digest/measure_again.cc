#include "digest/measure_again.h"

#include <algorithm>
#include <limits>

#include "study/number_at.h"
#include "study/observables.h"
#include "study/rules.h"
#include "study/run_spec.h"
#include "study/steering.h"

namespace gyrebox::analysis {

std::vector<v1::FieldViolation> FaultsOf(const v1::MeasureAgain& again, const std::string& path) {
  std::vector<v1::FieldViolation> faults;
  const auto add = [&](const std::string& field, const std::string& what) {
    v1::FieldViolation& fault = faults.emplace_back();
    fault.set_field(path + "." + field);
    fault.set_description(what);
  };
  for (int i = 0; i < again.GetDescriptor()->field_count(); ++i) {
    const auto& field = *again.GetDescriptor()->field(i);
    if (!again.GetReflection()->HasField(again, &field)) continue;
    const std::string fault = study::Fault(study::GetNumber(again, field), field);
    if (!fault.empty()) add(field.name(), fault);
  }
  if (again.has_last_wave_shell() && again.last_wave_shell() < again.first_wave_shell()) {
    add("last_wave_shell", std::to_string(again.last_wave_shell()) + " is below first_wave_shell, which is " +
                               std::to_string(again.first_wave_shell()) + "; give at least that");
  }
  return faults;
}

static kernels::RunSpec SpecFor(const v1::StudySpec& at, const v1::Seeds& seeds, const v1::MeasureAgain& again) {
  kernels::RunSpec spec = study::ToRunSpec(at, seeds);
  if (again.has_bond_length()) spec.measure.bond_length = again.bond_length();
  spec.measure.first_wave_shell = again.first_wave_shell();
  spec.measure.last_wave_shell = again.last_wave_shell();
  return spec;
}

FrameSeries::FrameSeries(store::Store& store, int64_t study, int64_t number, const kernels::RunSpec& spec)
    : store_(&store),
      study_(study),
      number_(number),
      bead_count_(spec.n_beads),
      measure_(std::make_shared<kernels::StillMeasure>(spec)),
      observables_(study::ToObservables(measure_->columns())) {}

absl::StatusOr<FrameSeries> FrameSeries::Open(store::Store& store, int64_t study, int64_t number, const v1::Run& run,
                                              const v1::StudySpec& spec, const v1::MeasureAgain& again) {
  const auto journal = store.journals().Get(study, number);
  if (!journal.ok()) return journal.status();
  FrameSeries series(store, study, number, SpecFor(study::SpecOf(spec, run, *journal), run.seeds(), again));
  auto stamps = store.frames().List(study, number, 0, std::numeric_limits<int>::max());
  if (!stamps.ok()) return stamps.status();
  series.stamps_ = *std::move(stamps);
  return series;
}

int64_t FrameSeries::IndexAt(double time) const {
  return std::lower_bound(stamps_.begin(), stamps_.end(), time,
                          [](const store::FrameStamp& stamp, double t) { return stamp.time < t; }) -
         stamps_.begin();
}

absl::StatusOr<store::SampleRows> FrameSeries::Measure(int64_t from, int64_t limit, const study::Stop& stop) const {
  store::SampleRows rows;
  rows.first = from;
  const int64_t end = limit < size() - from ? from + limit : size();
  for (int64_t i = from; i < end; ++i) {
    if (stop.asked()) return study::Stopped();
    const int64_t step = stamps_[static_cast<size_t>(i)].step;
    const auto frame = store_->frames().ReadKept(study_, number_, step);
    if (!frame.ok()) return frame.status();
    const kernels::Sample sample = measure_->Measure(frame->beads, step);
    rows.width = 2 + sample.values.size();
    rows.numbers.push_back(static_cast<double>(step));
    rows.numbers.push_back(sample.time);
    rows.numbers.insert(rows.numbers.end(), sample.values.begin(), sample.values.end());
  }
  return rows;
}

}  // namespace gyrebox::analysis
