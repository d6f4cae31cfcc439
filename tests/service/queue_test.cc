// Queue order: which work gets the next slice.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <random>

#include "queue/choose.h"
#include "queue/ledger.h"

namespace gyrebox::queue {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

constexpr int64_t kMemory = 1000;

Work Waiting(int64_t study, const std::string& user, int64_t bytes = 10) {
  return {.study = study, .user = user, .priority = 0, .on_device = false, .bytes = bytes, .beads = 100};
}

Work OnDevice(int64_t study, const std::string& user, int64_t bytes = 10) {
  Work work = Waiting(study, user, bytes);
  work.on_device = true;
  return work;
}

std::function<double(const std::string&)> Used(std::map<std::string, double> seconds) {
  return [seconds = std::move(seconds)](const std::string& user) {
    const auto found = seconds.find(user);
    return found == seconds.end() ? 0.0 : found->second;
  };
}

TEST(ChooseTest, WithoutWorkThereIsNoNext) { EXPECT_FALSE(Choose({}, Used({}), {kMemory}).next); }

TEST(ChooseTest, TheUserWithTheLeastUseComesFirst) {
  const std::vector<Work> work = {OnDevice(1, "ann"), Waiting(2, "bob"), Waiting(3, "eve")};
  EXPECT_EQ(Choose(work, Used({{"ann", 5}, {"bob", 3}, {"eve", 4}}), {kMemory}).next, 1u);
  EXPECT_EQ(Choose(work, Used({{"ann", 2}, {"bob", 3}, {"eve", 4}}), {kMemory}).next, 0u);
}

// Initialising work holds its memory and its position, but gets no slice; others run meanwhile.
TEST(ChooseTest, WhileWorkStartsTheNextInOrderHasTheSlice) {
  std::vector<Work> work = {OnDevice(1, "ann"), OnDevice(2, "bob"), Waiting(3, "ann"), Waiting(4, "eve")};
  work[0].starting = true;
  EXPECT_EQ(Choose(work, Used({{"bob", 1}, {"eve", 2}}), {kMemory}).next, 1u);
  EXPECT_EQ(Choose(work, Used({{"bob", 2}, {"eve", 1}}), {kMemory}).next, 3u);
  work[2].priority = 1;  // more urgent work need not wait for less urgent work
  EXPECT_EQ(Choose(work, Used({{"bob", 1}, {"eve", 2}}), {kMemory}).next, 2u);
  EXPECT_FALSE(Choose({work[0]}, Used({}), {kMemory}).next);
}

TEST(ChooseTest, InitialisingWorkIsNotEvicted) {
  std::vector<Work> work = {OnDevice(1, "ann", 900), Waiting(2, "bob", 900)};
  const auto used = Used({{"ann", 100}});
  EXPECT_EQ(Choose(work, used, {kMemory}).next, 1u);
  work[0].starting = true;
  EXPECT_FALSE(Choose(work, used, {kMemory}).next);
}

TEST(ChooseTest, WithinAUserPriorityComesBeforeAge) {
  std::vector<Work> work = {Waiting(1, "ann"), Waiting(2, "ann"), Waiting(3, "ann")};
  EXPECT_EQ(Choose(work, Used({}), {kMemory}).next, 0u);
  work[2].priority = 1;
  EXPECT_EQ(Choose(work, Used({}), {kMemory}).next, 2u);
  work[0].on_device = true;  // running work does not precede more urgent work
  EXPECT_EQ(Choose(work, Used({}), {kMemory}).next, 2u);
}

TEST(ChooseTest, PriorityDoesNotCountBetweenUsers) {
  std::vector<Work> work = {Waiting(1, "ann"), Waiting(2, "bob")};
  work[0].priority = 100;
  EXPECT_EQ(Choose(work, Used({{"ann", 2}, {"bob", 1}}), {kMemory}).next, 1u);
}

// 500 runs of one user, then one of another.
TEST(ChooseTest, ANewUserDoesNotWaitForAnothersQueue) {
  std::vector<Work> work = {OnDevice(1, "ann")};
  for (int64_t study = 2; study <= 500; ++study) work.push_back(Waiting(study, "ann"));
  work.push_back(Waiting(501, "bob"));
  const Choice choice = Choose(work, Used({{"ann", 0.5}}), {kMemory});
  EXPECT_EQ(choice.next, 500u);
  EXPECT_THAT(choice.leave, IsEmpty());
}

TEST(ChooseTest, WhenMemoryIsFullTheLastInOrderIsEvicted) {
  const std::vector<Work> work = {OnDevice(1, "ann", 400), OnDevice(2, "ann", 300), OnDevice(3, "eve", 300),
                                  Waiting(4, "bob", 250)};
  const Choice choice = Choose(work, Used({{"ann", 100}, {"eve", 50}}), {kMemory});
  EXPECT_EQ(choice.next, 3u);
  EXPECT_THAT(choice.leave, ElementsAre(1u));  // the younger one of the user with the largest use
}

TEST(ChooseTest, UsersWithSimilarUseDoNotEvictEachOther) {
  const std::vector<Work> work = {OnDevice(1, "ann", 800), Waiting(2, "bob", 800)};
  Choice choice = Choose(work, Used({{"ann", 1000}, {"bob", 999}}), {kMemory});
  EXPECT_EQ(choice.next, 0u);
  EXPECT_THAT(choice.leave, IsEmpty());
  choice = Choose(work, Used({{"ann", 1000}, {"bob", 994}}), {kMemory});
  EXPECT_EQ(choice.next, 1u);
  EXPECT_THAT(choice.leave, ElementsAre(0u));
}

TEST(ChooseTest, WorkThatDoesNotFitDoesNotBlockTheRest) {
  const std::vector<Work> work = {OnDevice(1, "ann", 600), Waiting(2, "bob", 900), Waiting(3, "eve", 100)};
  const Choice choice = Choose(work, Used({{"ann", 10}, {"bob", 8}, {"eve", 9}}), {kMemory});
  EXPECT_EQ(choice.next, 2u);
}

// Studies larger than all memory are refused at submission; if one is queued anyway, it gets a try.
TEST(ChooseTest, AnyWorkMayStartOnAnEmptyDevice) {
  EXPECT_EQ(Choose({Waiting(1, "ann", 5 * kMemory)}, Used({}), {kMemory}).next, 0u);
}

TEST(ChooseTest, ABeadQuotaHoldsBackExcessWork) {
  Limits limits{kMemory};
  limits.max_beads_per_user = 150;
  std::vector<Work> work = {OnDevice(1, "ann"), Waiting(2, "ann"), Waiting(3, "bob")};
  work[1].priority = 5;
  EXPECT_EQ(Choose(work, Used({{"bob", 1}}), limits).next, 0u);
  limits.max_beads_per_user = 200;
  EXPECT_EQ(Choose(work, Used({{"bob", 1}}), limits).next, 1u);
  work = {Waiting(1, "ann")};
  limits.max_beads_per_user = 50;
  EXPECT_EQ(Choose(work, Used({}), limits).next, 0u);  // one run is always allowed
}

TEST(LedgerTest, UseHalvesInAHalfLife) {
  Ledger ledger(100);
  EXPECT_EQ(ledger.Used("ann", 0), 0);
  ledger.Charge("ann", 8, 0);
  EXPECT_DOUBLE_EQ(ledger.Used("ann", 100), 4);
  EXPECT_DOUBLE_EQ(ledger.Used("ann", 300), 1);
  ledger.Charge("ann", 2, 100);
  EXPECT_DOUBLE_EQ(ledger.Used("ann", 100), 6);
  EXPECT_DOUBLE_EQ(ledger.Used("ann", 200), 3);
}

/// Device seconds per user within an hour, for users who always have work, with slices of random lengths.
std::map<std::string, double> HourOf(const std::vector<std::string>& users, std::map<std::string, double> before) {
  std::mt19937_64 random(5);
  Ledger ledger(3600);
  for (const auto& [user, seconds] : before) ledger.Charge(user, seconds, 0);
  std::vector<Work> work;
  for (size_t i = 0; i < users.size(); ++i) work.push_back(OnDevice(static_cast<int64_t>(i) + 1, users[i]));
  std::map<std::string, double> got;
  for (double now = 0; now < 3600;) {
    const Choice choice = Choose(work, [&](const auto& user) { return ledger.Used(user, now); }, {kMemory});
    const double slice = std::uniform_real_distribution(0.3, 2.0)(random);
    now += slice;
    ledger.Charge(work[*choice.next].user, slice, now);
    got[work[*choice.next].user] += slice;
  }
  return got;
}

TEST(ShareTest, InAnHourOfLoadSharesAreEqualWithinFivePercent) {
  // Ann has three studies and Bob one: fair share is per user.
  const auto got = HourOf({"ann", "ann", "ann", "bob", "eve"}, {});
  for (const char* user : {"ann", "bob", "eve"}) EXPECT_NEAR(got.at(user), 1200, 60) << user;
}

TEST(ShareTest, AHeavyUserWaitsUntilTheOthersCatchUp) {
  const auto got = HourOf({"ann", "bob"}, {{"ann", 600}});
  EXPECT_GT(got.at("bob") - got.at("ann"), 100);
  EXPECT_LT(got.at("bob") - got.at("ann"), 600);  // old use counts less
}

}  // namespace
}  // namespace gyrebox::queue
