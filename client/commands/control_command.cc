#include <iostream>

#include "commands/registry.h"
#include "lib/control_study.h"
#include "lib/study_writer.h"
#include "output/text.h"

namespace gyrebox::client {

static ExitCode Control(const Session& session, const std::string& name) {
  const auto study = Client(session.server).GetStudy(StudyName(name));
  if (!study.ok()) return Report(session, study.status());
  const auto control = ControlOf(study->spec(), StudyName(name));
  if (!control.ok()) return Report(session, control.status());
  if (session.json) {
    PrintJson(*control);
  } else {
    std::cout << StudyFileText(*control);
  }
  return kDone;
}

void RegisterControlCommand(Registry& registry) {
  const auto name = std::make_shared<std::string>();
  TakeStudy(registry.AddWithJson("control",
                                 "Print the study file of the control of a study with stages: the same beds under one "
                                 "drive throughout, for gyrebox report --fresh",
                                 [name](const Session& session) { return Control(session, *name); }),
            name.get());
}

}  // namespace gyrebox::client
