// Parses any text as a study file and checks it: it never crashes, and every fault is at a line of the file.
#include <algorithm>
#include <cstdint>
#include <string>

#include "check.h"
#include "lib/study_file.h"
#include "study/defaults.h"
#include "study/validation/validate.h"

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
  using namespace gyrebox;
  const std::string text(reinterpret_cast<const char*>(data), size);
  const client::StudyFile file = client::ParseStudyFile(text);
  v1::StudySpec spec = file.spec;
  std::vector<v1::FieldViolation> violations;
  if (!spec.start().has_saved()) {
    study::FillDefaults(&spec);
    violations = study::Validate(spec);
  }
  const auto lines = std::count(text.begin(), text.end(), '\n') + 1;
  for (const client::FileFault& fault : file.AllFaults(violations)) {
    test::Check(fault.line >= 1 && fault.line <= lines, "a fault at a line that is not there");
    test::Check(!fault.message.empty(), "a fault without words");
  }
  test::Check(file.is_toml || !file.faults.empty(), "no TOML, and no word of it");
  return 0;
}
