// Lines of a watch about the answers so far.
#include "output/live_answers.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace gyrebox::client {
namespace {

TEST(LeadingAnswersTest, WhatTheServerNotesOnANumberStandsBesideIt) {
  v1::Answers answers;
  answers.mutable_run_counts()->set_total_count(2);
  answers.mutable_run_counts()->set_finished_count(1);
  v1::Answer& map = *answers.add_answers();
  map.set_topic(v1::Answer::TOPIC_MAP);
  map.set_summary("The onset is at 12 rad/tau.");
  const auto add = [&](const char* name, const char* note) {
    map.add_quantities()->set_name(name);
    map.mutable_quantities(map.quantities_size() - 1)->set_note(note);
  };
  add("largest", "");
  EXPECT_THAT(LeadingAnswers(answers), testing::ElementsAre("From 1 of 2 runs:", "The onset is at 12 rad/tau."));
  add("onset", "interpolated between 8 and 16 rad/tau");
  add("largest", "still growing in 1/3");
  EXPECT_THAT(LeadingAnswers(answers),
              testing::ElementsAre("From 1 of 2 runs:",
                                   "The onset is at 12 rad/tau. (interpolated: onset; still growing: largest)"));
}

}  // namespace
}  // namespace gyrebox::client
