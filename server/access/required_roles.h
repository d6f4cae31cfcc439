/// The one list of who may call which method.
#pragma once

#include <map>
#include <string>

namespace gyrebox::access {

enum class RequiredRole {
  kNothing,  ///< open to strangers; reveals only that a server is there
  kMember,   ///< any valid token; once the study is known, MayChange() decides whether it may be changed
  kAdmin,    ///< a valid token of an admin
  kRefused,  ///< not in the list
};

/// The list, by the path of a method on the wire: /package.Service/Method.
const std::map<std::string, RequiredRole>& AllRequiredRoles();

/// Role required for a method, by its path; kRefused if it is not in the list.
RequiredRole RequiredRoleOf(const std::string& path);

}  // namespace gyrebox::access
