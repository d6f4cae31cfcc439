// The thread that records the results of the device.
#include "executor/recorder.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <latch>

#include "wait_for.h"

namespace gyrebox::executor {
namespace {

using test::WaitFor;
using testing::ElementsAre;

class RecorderTest : public testing::Test {
 protected:
  /// A write that records its number when it is made.
  Recorder::Write Note(int name) {
    return [this, name] {
      if (full_) return absl::ResourceExhaustedError("the disk is full");
      written_.push_back(name);
      return absl::OkStatus();
    };
  }
  /// A write that blocks until the latch opens.
  Recorder::Write BlockingWrite() {
    return [this] {
      latch_.wait();
      return absl::OkStatus();
    };
  }

  std::atomic<bool> full_ = false;
  std::vector<int> written_;  ///< set by the recorder's thread; read after it is done
  std::latch latch_{1};
  std::atomic<int> refusals_ = 0;
  Recorder recorder_{[this](const absl::Status&) { ++refusals_; }, [] {}};
};

TEST_F(RecorderTest, MakesWritesInOrderAndThenReports) {
  std::vector<int> at_end;
  recorder_.Post({Note(1), Note(2)});
  recorder_.WaitFor(recorder_.Post({Note(3)}, [&](const absl::Status& status) {
    EXPECT_TRUE(status.ok());
    at_end = written_;
  }));
  EXPECT_THAT(at_end, ElementsAre(1, 2, 3));
}

TEST_F(RecorderTest, PostingAThirdTaskBlocks) {
  recorder_.Post({BlockingWrite()});
  ASSERT_TRUE(WaitFor([&] { return !recorder_.behind(); }));
  const auto second = recorder_.Post({Note(2)});
  EXPECT_TRUE(recorder_.behind());
  std::atomic<bool> posted = false;
  std::thread poster([&] {
    recorder_.Post({Note(3)});
    posted = true;
  });
  std::this_thread::sleep_for(std::chrono::milliseconds(50));
  EXPECT_FALSE(posted);
  EXPECT_FALSE(recorder_.IsDone(second));
  latch_.count_down();
  poster.join();
  recorder_.WaitForAll();
  EXPECT_TRUE(recorder_.IsDone(second));
  EXPECT_THAT(written_, ElementsAre(2, 3));
}

TEST_F(RecorderTest, RetriesARefusedWriteAndMakesNoneTwice) {
  full_ = true;
  recorder_.Post({[this] {
                    written_.push_back(1);
                    return absl::OkStatus();
                  },
                  Note(2), Note(3)});
  ASSERT_TRUE(WaitFor([&] { return refusals_ > 0; }));
  EXPECT_THAT(recorder_.trouble(), testing::HasSubstr("the disk is full"));
  std::atomic<bool> waited = false;
  std::thread device([&] {
    recorder_.WaitWhileRefused();
    waited = true;
  });
  std::this_thread::sleep_for(std::chrono::milliseconds(50));
  EXPECT_FALSE(waited);
  full_ = false;
  device.join();
  recorder_.WaitForAll();
  EXPECT_EQ(recorder_.trouble(), "");
  EXPECT_THAT(written_, ElementsAre(1, 2, 3));
}

TEST_F(RecorderTest, TreatsAnExceptionAsARefusal) {
  std::atomic<int> tries = 0;
  recorder_.WaitFor(recorder_.Post({[&] {
    if (++tries == 1) throw std::bad_alloc();
    return absl::OkStatus();
  }}));
  EXPECT_EQ(tries, 2);
}

// Otherwise a series could get a gap: a refused write followed by an accepted one.
TEST_F(RecorderTest, AfterStopRetryingNothingIsWrittenAfterARefusal) {
  full_ = true;
  recorder_.StopRetrying();
  std::atomic<absl::StatusCode> told = absl::StatusCode::kOk;
  const auto tell = [&](const absl::Status& status) { told = status.code(); };
  recorder_.WaitFor(recorder_.Post({Note(1)}, tell));
  EXPECT_EQ(told, absl::StatusCode::kUnavailable);
  full_ = false;
  told = absl::StatusCode::kOk;
  recorder_.WaitFor(recorder_.Post({Note(2)}, tell));
  EXPECT_EQ(told, absl::StatusCode::kUnavailable);
  EXPECT_TRUE(written_.empty());
}

TEST_F(RecorderTest, CloseMakesAllPostedWrites) {
  recorder_.Post({Note(1)});
  recorder_.Post({Note(2)});
  recorder_.Close();
  EXPECT_THAT(written_, ElementsAre(1, 2));
}

}  // namespace
}  // namespace gyrebox::executor
