/// What a call needs to reach its method at all: the one list of who may call what.
#pragma once

#include <map>
#include <string>

namespace gyrebox::access {

enum class Need {
  kNothing,  ///< open to strangers; tells them nothing but that a server is there
  kMember,   ///< any valid token; whose study may be changed is decided by MayChange() where the study is known
  kAdmin,    ///< a valid token of an admin
  kRefused,  ///< not in the list
};

/// The list, by the path of a method on the wire: /package.Service/Method.
const std::map<std::string, Need>& AllNeeds();

/// Of a method, by its path; kRefused for one that is not in the list.
Need NeedOf(const std::string& path);

}  // namespace gyrebox::access
