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

}  // namespace gyrebox::schema
