#include "access/needs.h"

namespace gyrebox::access {

const std::map<std::string, Need>& AllNeeds() {
  static const auto& needs = *new std::map<std::string, Need>{
      {"/grpc.health.v1.Health/Check", Need::kNothing},
      {"/grpc.health.v1.Health/Watch", Need::kMember},
      {"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo", Need::kMember},
      {"/gyrebox.v1.AnalysisService/AnalyseStudy", Need::kMember},
      {"/gyrebox.v1.BoxService/DrainBox", Need::kAdmin},
      {"/gyrebox.v1.BoxService/GetBox", Need::kMember},
      {"/gyrebox.v1.BoxService/WatchBox", Need::kMember},
      {"/gyrebox.v1.PeopleService/CreateToken", Need::kAdmin},
      {"/gyrebox.v1.PeopleService/ListTokens", Need::kAdmin},
      {"/gyrebox.v1.PeopleService/RevokeTokens", Need::kAdmin},
      {"/gyrebox.v1.RunService/AdjustRuns", Need::kMember},
      {"/gyrebox.v1.RunService/ExcludeRun", Need::kMember},
      {"/gyrebox.v1.RunService/ExtendRun", Need::kMember},
      {"/gyrebox.v1.RunService/FinishRun", Need::kMember},
      {"/gyrebox.v1.RunService/GetFrame", Need::kMember},
      {"/gyrebox.v1.RunService/GetRun", Need::kMember},
      {"/gyrebox.v1.RunService/ListAdjustments", Need::kMember},
      {"/gyrebox.v1.RunService/ListFrames", Need::kMember},
      {"/gyrebox.v1.RunService/ListRuns", Need::kMember},
      {"/gyrebox.v1.RunService/ListSamples", Need::kMember},
      {"/gyrebox.v1.RunService/ListSavedStates", Need::kMember},
      {"/gyrebox.v1.RunService/MeasureRun", Need::kMember},
      {"/gyrebox.v1.RunService/PauseRun", Need::kMember},
      {"/gyrebox.v1.RunService/PrioritizeRuns", Need::kMember},
      {"/gyrebox.v1.RunService/ReplayRun", Need::kMember},
      {"/gyrebox.v1.RunService/ResumeRun", Need::kMember},
      {"/gyrebox.v1.RunService/SaveRun", Need::kMember},
      {"/gyrebox.v1.RunService/WatchFrames", Need::kMember},
      {"/gyrebox.v1.RunService/WatchRuns", Need::kMember},
      {"/gyrebox.v1.StudyService/ArchiveStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/CancelStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/CheckStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/CreateStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/DeleteStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/GetStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/GrowStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/ListStudies", Need::kMember},
      {"/gyrebox.v1.StudyService/PauseStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/ResumeStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/TabulateStudy", Need::kMember},
      {"/gyrebox.v1.StudyService/UpdateStudy", Need::kMember},
  };
  return needs;
}

Need NeedOf(const std::string& path) {
  const auto found = AllNeeds().find(path);
  return found == AllNeeds().end() ? Need::kRefused : found->second;
}

}  // namespace gyrebox::access
