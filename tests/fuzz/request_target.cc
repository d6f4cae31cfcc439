// Any bytes, read as any request and checked as the server does: never a crash, and a study without faults can be run.
// The first byte says which request.
#include <cstdint>
#include <string>

#include "access/secret.h"
#include "api/names.h"
#include "check.h"
#include "gyrebox/v1/run_service.pb.h"
#include "gyrebox/v1/study_service.pb.h"
#include "study/defaults.h"
#include "study/expand.h"
#include "study/run_spec.h"
#include "study/validate.h"

namespace gyrebox {
namespace {

constexpr size_t kMostPoints = 1000;

void CheckStudy(v1::StudySpec spec) {
  if (spec.start().has_saved()) return;  // its run is found, or not, by the store
  study::FillDefaults(&spec);
  if (!study::Validate(spec).empty()) return;
  size_t count = 1;
  for (const v1::Axis& axis : spec.axes()) count *= study::AxisValues(axis).size();
  test::Check(count <= study::kMostRuns, "a sound study of too many runs");
  if (count > kMostPoints) return;
  const auto runs = study::Expand(spec);
  test::Check(runs.size() == count * spec.trials().count(), "runs are not points times trials");
  for (const auto& run : {runs.front(), runs.back()}) {
    const auto plain = study::ToRunSpec(study::AtPoint(spec, run.axis_values), run.seeds);
    test::Check(plain.n_beads > 0 && plain.n_steps > 0, "a sound study of nothing");
  }
}

void CheckPage(const std::string& token, int size) {
  const auto place = api::ParsePageToken("studies", token, 7);
  test::Check(!place.ok() || *place >= 0, "a page from before the first");
  const auto fitting = api::PageSize(size, 50, 1000);
  test::Check(!fitting.ok() || (*fitting >= 1 && *fitting <= 1000), "a page of no or too many things");
}

void CheckName(const std::string& name) {
  const auto run = api::ParseRunName(name);
  if (run.ok()) test::Check(run->study > 0 && run->run > 0, "a run of no number");
  const auto study = api::ParseStudyName(name);
  if (study.ok()) test::Check(name == "studies/" + std::to_string(*study), "two names of one study");
}

template <class Request>
Request Parse(const std::string& bytes) {
  Request request;
  (void)request.ParseFromString(bytes);  // what could be read of it
  return request;
}

}  // namespace
}  // namespace gyrebox

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  using namespace gyrebox;
  if (size == 0) return 0;
  const std::string bytes(reinterpret_cast<const char*>(data) + 1, size - 1);
  switch (data[0] % 5) {
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
    default:
      test::Check(access::SecretIn(bytes).size() <= bytes.size(), "a secret from nowhere");
  }
  return 0;
}
