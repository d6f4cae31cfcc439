#include "access/required_roles.h"

namespace gyrebox::access {

const std::map<std::string, RequiredRole>& AllRequiredRoles() {
  static const auto& needs = *new std::map<std::string, RequiredRole>{
      {"/grpc.health.v1.Health/Check", RequiredRole::kNothing},
      {"/grpc.health.v1.Health/Watch", RequiredRole::kMember},
      {"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo", RequiredRole::kMember},
      {"/gyrebox.v1.AnalysisService/AnalyseStudy", RequiredRole::kMember},
      {"/gyrebox.v1.MachineService/DrainMachine", RequiredRole::kAdmin},
      {"/gyrebox.v1.MachineService/GetMachine", RequiredRole::kMember},
      {"/gyrebox.v1.MachineService/WatchMachine", RequiredRole::kMember},
      {"/gyrebox.v1.UserService/CreateToken", RequiredRole::kAdmin},
      {"/gyrebox.v1.UserService/ListTokens", RequiredRole::kAdmin},
      {"/gyrebox.v1.UserService/RevokeTokens", RequiredRole::kAdmin},
      {"/gyrebox.v1.RunService/AdjustRuns", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/ExcludeRun", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/ExtendRun", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/FinishRun", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/GetFrame", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/GetRun", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/ListAdjustments", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/ListFrames", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/ListRuns", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/ListSamples", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/ListSavedStates", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/MeasureRun", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/PauseRun", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/PrioritizeRuns", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/RestartRuns", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/TabulateRuns", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/WithdrawAdjustment", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/ReplayRun", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/ResumeRun", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/SaveRun", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/WatchFrames", RequiredRole::kMember},
      {"/gyrebox.v1.RunService/WatchRuns", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/ArchiveStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/CancelStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/CheckGrowth", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/CheckStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/CreateStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/DeleteStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/ExtendStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/GetStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/GiveStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/GrowStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/ListStudies", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/PauseStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/ResumeStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/TabulateStudy", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/UndoGrowth", RequiredRole::kMember},
      {"/gyrebox.v1.StudyService/UpdateStudy", RequiredRole::kMember},
  };
  return needs;
}

RequiredRole RequiredRoleOf(const std::string& path) {
  const auto found = AllRequiredRoles().find(path);
  return found == AllRequiredRoles().end() ? RequiredRole::kRefused : found->second;
}

}  // namespace gyrebox::access
