/// Names of resources.
#pragma once

#include "store/names.h"

namespace gyrebox::api {

using store::ParseRunName;
using store::ParseStudyName;
using store::RunName;

}  // namespace gyrebox::api
