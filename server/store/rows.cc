#include "store/rows.h"

#include <google/protobuf/util/time_util.h>

#include <chrono>
#include <cstring>

#include "store/sql/studies.h"

namespace gyrebox::store {

using google::protobuf::util::TimeUtil;

int64_t NowMilliseconds() {
  const auto now = std::chrono::system_clock::now().time_since_epoch();
  return std::chrono::duration_cast<std::chrono::milliseconds>(now).count();
}

static std::string StudyName(int64_t id) { return "studies/" + std::to_string(id); }

std::vector<double> ToAxisValues(const std::string& bytes) {
  std::vector<double> values(bytes.size() / sizeof(double));
  if (!values.empty()) std::memcpy(values.data(), bytes.data(), values.size() * sizeof(double));
  return values;
}

v1::Run ToRun(const Statement& row) {
  v1::Run run;
  run.set_name(StudyName(row.Int(0)) + "/runs/" + std::to_string(row.Int(1)));
  const std::vector<double> values = ToAxisValues(row.Text(2));
  run.mutable_axis_values()->Assign(values.begin(), values.end());
  run.set_trial(static_cast<int32_t>(row.Int(3)));
  run.mutable_seeds()->set_positions(row.Int(4));
  run.mutable_seeds()->set_noise(row.Int(5));
  run.mutable_seeds()->set_disorder(row.Int(6));
  run.set_state(static_cast<v1::Run::State>(row.Int(7)));
  run.set_step(row.Int(8));
  run.set_total_steps(row.Int(9));
  run.set_time(row.Real(10));
  run.set_sample_count(row.Int(11));
  if (!row.IsNull(12)) run.mutable_fault()->ParseFromString(row.Text(12));
  if (!row.IsNull(13)) run.set_device(row.Text(13));
  if (!row.IsNull(14)) *run.mutable_start_time() = TimeUtil::MillisecondsToTimestamp(row.Int(14));
  if (!row.IsNull(15)) *run.mutable_end_time() = TimeUtil::MillisecondsToTimestamp(row.Int(15));
  if (!row.IsNull(17)) run.MergeFromString(row.Text(17));
  if (!row.IsNull(18)) run.set_warning(row.Text(18));
  run.set_etag(std::to_string(row.Int(19)));
  run.set_ended_early(row.Int(20) != 0);
  run.set_priority(static_cast<int32_t>(row.Int(21)));
  if (!row.IsNull(22)) run.mutable_exclusion()->ParseFromString(row.Text(22));
  if (run.state() == v1::Run::STATE_PAUSED && !row.IsNull(23)) run.set_pause_reason(row.Text(23));
  run.set_audit(row.Int(24) != 0);
  return run;
}

int64_t ChangeOf(const Statement& row) { return row.Int(16); }

std::string StudyEtag(int64_t edits, int64_t changes) { return std::to_string(edits) + "-" + std::to_string(changes); }

v1::Study ToStudy(const Statement& row) {
  v1::Study study;
  study.set_name(StudyName(row.Int(0)));
  study.mutable_spec()->ParseFromString(row.Text(1));
  *study.mutable_create_time() = TimeUtil::MillisecondsToTimestamp(row.Int(2));
  if (!row.IsNull(3)) *study.mutable_start_time() = TimeUtil::MillisecondsToTimestamp(row.Int(3));
  if (!row.IsNull(4)) *study.mutable_end_time() = TimeUtil::MillisecondsToTimestamp(row.Int(4));
  study.set_owner(row.Text(7));
  study.set_note(row.Text(8));
  study.set_archived(row.Int(9) != 0);
  if (!row.IsNull(10)) *study.mutable_delete_time() = TimeUtil::MillisecondsToTimestamp(row.Int(10));
  if (!row.IsNull(11)) study.set_delete_reason(row.Text(11));
  study.set_etag(StudyEtag(row.Int(12), row.Int(6)));
  study.mutable_run_counts()->set_excluded_count(static_cast<int32_t>(row.Int(13)));
  study.set_stored_byte_count(row.Int(14));
  return study;
}

static void AddCount(int64_t state, int32_t count, v1::RunCounts* counts) {
  counts->set_total_count(counts->total_count() + count);
  switch (state) {
    case v1::Run::STATE_QUEUED:
      return counts->set_queued_count(count);
    case v1::Run::STATE_STARTING:
    case v1::Run::STATE_RUNNING:
      return counts->set_running_count(counts->running_count() + count);
    case v1::Run::STATE_PAUSED:
      return counts->set_paused_count(count);
    case v1::Run::STATE_FINISHED:
      return counts->set_finished_count(count);
    case v1::Run::STATE_UNSTABLE:
      return counts->set_unstable_count(count);
    case v1::Run::STATE_FAILED:
      return counts->set_failed_count(count);
    case v1::Run::STATE_CANCELLED:
      return counts->set_cancelled_count(count);
    default:
      return;
  }
}

static bool IsAtItsEnd(int64_t state) {
  return state == v1::Run::STATE_FINISHED || state == v1::Run::STATE_UNSTABLE || state == v1::Run::STATE_FAILED ||
         state == v1::Run::STATE_CANCELLED;
}

static v1::Study::State StateOf(const v1::RunCounts& counts, bool cancelled) {
  if (cancelled) return v1::Study::STATE_CANCELLED;
  if (counts.queued_count() == counts.total_count()) return v1::Study::STATE_QUEUED;
  if (counts.queued_count() + counts.running_count() > 0) return v1::Study::STATE_RUNNING;
  return counts.paused_count() > 0 ? v1::Study::STATE_PAUSED : v1::Study::STATE_FINISHED;
}

absl::Status AddCounts(Connection& connection, int64_t id, bool cancelled, v1::Study* study) {
  double done = 0, total = 0;
  v1::RunCounts& counts = *study->mutable_run_counts();
  Statement groups = connection.Prepare(sql::kCountRuns);
  groups.Bind(id);
  while (groups.Next()) {
    AddCount(groups.Int(0), static_cast<int32_t>(groups.Int(1)), &counts);
    done += groups.Real(IsAtItsEnd(groups.Int(0)) ? 3 : 2);  // an ended run has no steps left
    total += groups.Real(3);
  }
  study->set_progress(total > 0 ? done / total : 0);
  study->set_state(StateOf(counts, cancelled));
  return groups.status();
}

}  // namespace gyrebox::store
