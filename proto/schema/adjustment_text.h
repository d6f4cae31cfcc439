/// What an adjustment of a run did, in words.
#pragma once

#include <google/protobuf/message.h>

#include <string>

#include "gyrebox/v1/steering.pb.h"

namespace gyrebox::schema {

/// Past participle of an adjustment, such as "paused".
const char* Participle(v1::Adjustment::Kind kind);

/// The numbers set in a message, such as "amplitude 20, frequency 1"; `joint` joins name and value.
std::string NumbersText(const google::protobuf::Message& message, const char* joint = " ");

/// "amplitude 10 -> 20, temperature 0 -> 0.01": the numbers of a change, each after the one that it replaces, if known.
std::string ChangesText(const google::protobuf::Message& before, const google::protobuf::Message& change);

}  // namespace gyrebox::schema
