// Parses any bytes as any request and checks it as the server does: it never crashes, and a study without faults can be
// run. The first byte selects the request.
#include <algorithm>
#include <cstdint>
#include <string>
#include <vector>

#include "access/secret.h"
#include "api/names.h"
#include "api/page_token.h"
#include "check.h"
#include "gyrebox/v1/run_service.pb.h"
#include "gyrebox/v1/study_service.pb.h"
#include "study/defaults.h"
#include "study/expand.h"
#include "study/grow.h"
#include "study/remarks.h"
#include "study/run_spec.h"
#include "study/validation/check_size.h"
#include "study/validation/validate.h"

namespace gyrebox {
namespace {

constexpr size_t kMaxPoints = 1000;

/// Runs that are not audit runs.
size_t CountPlain(const std::vector<study::PlannedRun>& runs) {
  return std::count_if(runs.begin(), runs.end(), [](const auto& run) { return !run.audit; });
}

void CheckStudy(v1::StudySpec spec) {
  if (spec.start().has_saved()) return;  // the store resolves its source run
  study::FillDefaults(&spec);
  if (!study::Validate(spec).empty()) return;
  size_t count = 1;
  for (const v1::Axis& axis : spec.axes()) count *= study::AxisValues(axis).size();
  test::Check(count <= study::kMaxRuns, "a sound study of too many runs");
  if (count > kMaxPoints) return;
  const auto runs = study::Expand(spec);
  test::Check(CountPlain(runs) == count * spec.trials().count(), "runs are not points times trials");
  test::Check(static_cast<double>(runs.size()) <= study::kMaxRuns, "a study and its audit of too many runs");
  for (const auto& run : {runs.front(), runs.back()}) {
    const auto plain = study::ToRunSpec(study::AtRun(spec, run), run.seeds);
    test::Check(plain.n_beads > 0 && plain.n_steps > 0, "a sound study of nothing");
  }
}

void CheckPage(const std::string& token, int size) {
  const auto offset = api::ParsePageToken("studies", token, 7);
  test::Check(!offset.ok() || *offset >= 0, "a page from before the first");
  const auto fitting = api::PageSize(size, 50, 1000);
  test::Check(!fitting.ok() || (*fitting >= 1 && *fitting <= 1000), "a page of no or too many things");
}

void CheckName(const std::string& name) {
  const auto run = api::ParseRunName(name);
  if (run.ok()) test::Check(run->study > 0 && run->run > 0, "a run of no number");
  const auto study = api::ParseStudyName(name);
  if (study.ok()) test::Check(name == "studies/" + std::to_string(*study), "two names of one study");
}

/// A study of 100 beads over two amplitudes, as the target of growth.
v1::StudySpec SmallStudy() {
  v1::StudySpec spec;
  spec.mutable_bed()->set_bead_count(100);
  spec.mutable_drive()->mutable_sine()->set_frequency(1);
  spec.mutable_schedule()->set_duration(2);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.add_values(4);
  axis.add_values(8);
  study::FillDefaults(&spec);
  return spec;
}

void CheckGrowth(const v1::GrowStudyRequest& request) {
  static const v1::StudySpec& spec = *new v1::StudySpec(SmallStudy());
  const bool sound = study::CheckGrowth(spec, request).empty();
  const v1::StudySpec asked = study::AsAsked(spec, request);
  if (!sound || !study::Validate(asked).empty()) return;
  const v1::StudySpec grown = study::Grown(spec, request);
  if (!study::Validate(grown).empty()) return;
  size_t count = grown.trials().count();
  for (const v1::Axis& axis : grown.axes()) count *= study::AxisValues(axis).size();
  if (count > kMaxPoints) return;
  const auto added = study::AddedRuns(spec, grown);
  test::Check(CountPlain(added) + study::Expand(spec).size() == count, "runs are lost or there twice");
  test::Check((CountPlain(added) == 0) == study::GrowthText(spec, grown).empty(), "a growth by nothing");
}

void CheckRemarks(const v1::UpdateStudyRequest& request) {
  study::Violations violations;
  study::CheckNote(request.study().note(), "note", &violations);
  study::CheckLabels(request.study().labels(), "labels", &violations);
  if (violations.empty()) test::Check(request.study().labels_size() <= 20, "too many labels");
}

template <class Request>
Request Parse(const std::string& bytes) {
  Request request;
  (void)request.ParseFromString(bytes);  // keeps whatever could be parsed
  return request;
}

}  // namespace
}  // namespace gyrebox

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  using namespace gyrebox;
  if (size == 0) return 0;
  const std::string bytes(reinterpret_cast<const char*>(data) + 1, size - 1);
  switch (data[0] % 8) {
    case 0:
      CheckStudy(Parse<v1::CreateStudyRequest>(bytes).spec());
      break;
    case 1: {
      const auto request = Parse<v1::ListStudiesRequest>(bytes);
      CheckPage(request.page_token(), request.page_size());
      break;
    }
    case 2: {
      const auto request = Parse<v1::ListSamplesRequest>(bytes);
      CheckName(request.parent());
      CheckPage(request.page_token(), request.page_size());
      break;
    }
    case 3:
      CheckName(Parse<v1::TabulateStudyRequest>(bytes).name());
      break;
    case 5:
      CheckGrowth(Parse<v1::GrowStudyRequest>(bytes));
      break;
    case 6:
      CheckRemarks(Parse<v1::UpdateStudyRequest>(bytes));
      break;
    case 7: {
      const auto request = Parse<v1::ExcludeRunRequest>(bytes);
      study::Violations violations;
      study::CheckReason(request.reason(), "reason", &violations);
      CheckName(request.name());
      break;
    }
    default:
      test::Check(access::SecretIn(bytes).size() <= bytes.size(), "a secret from nowhere");
  }
  return 0;
}
