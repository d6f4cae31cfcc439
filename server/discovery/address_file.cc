#include "discovery/address_file.h"

#include <fcntl.h>
#include <pwd.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <sstream>

#include "discovery/descriptor.h"

namespace gyrebox::access {

namespace fs = std::filesystem;

constexpr size_t kMaxBytes = 4096;

static std::string Environment(const char* name) {
  const char* const value = std::getenv(name);
  return value == nullptr ? "" : value;
}

static std::string Home() {
  if (auto home = Environment("HOME"); !home.empty()) return home;
  passwd entry{}, *found = nullptr;
  std::array<char, 4096> text{};
  getpwuid_r(geteuid(), &entry, text.data(), text.size(), &found);
  return found == nullptr ? "" : found->pw_dir;
}

std::string AddressDirectory() {
  const std::string runtime = Environment("XDG_RUNTIME_DIR");
  std::error_code error;
  if (!runtime.empty() && fs::is_directory(runtime, error)) return runtime + "/gyrebox";
  const std::string home = Home();
  return home.empty() ? "" : home + "/.local/state/gyrebox";
}

static std::string PathOf(const std::string& directory, std::string address) {
  if (address.starts_with("localhost:")) address.replace(0, std::strlen("localhost"), "127.0.0.1");
  for (char& c : address) {
    if (c == ':' || c == '/') c = '_';
  }
  return directory + "/" + address;
}

/// Whether a file or directory belongs to this user and is closed to all others.
static bool IsPrivate(const struct stat& there) {
  return there.st_uid == geteuid() && (there.st_mode & (S_IRWXG | S_IRWXO)) == 0;
}

/// Creates a directory that only this user can access. Returns an error text; empty on success.
static std::string MakePrivateDirectory(const std::string& directory) {
  std::error_code error;
  fs::create_directories(fs::path(directory).parent_path(), error);
  if (mkdir(directory.c_str(), S_IRWXU) != 0 && errno != EEXIST) {
    return "cannot make " + directory + ": " + std::strerror(errno);
  }
  struct stat there {};
  if (lstat(directory.c_str(), &there) != 0 || !S_ISDIR(there.st_mode) || there.st_uid != geteuid()) {
    return directory + " is not a directory of this user's";
  }
  if (!IsPrivate(there) && chmod(directory.c_str(), S_IRWXU) != 0) return "cannot close " + directory + " to others";
  return "";
}

static std::string TextOf(const LocalServer& server) {
  return "address=" + server.address + "\nsocket=" + server.socket + "\ntoken=" + server.token + "\n";
}

std::string WriteAddressFile(const std::string& directory, const LocalServer& server) {
  if (auto why = MakePrivateDirectory(directory); !why.empty()) return why;
  const std::string path = PathOf(directory, server.address), draft = path + ".new", text = TextOf(server);
  unlink(draft.c_str());
  const Descriptor file(open(draft.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, S_IRUSR | S_IWUSR));
  if (file.open() && write(file.get(), text.data(), text.size()) == static_cast<ssize_t>(text.size()) &&
      rename(draft.c_str(), path.c_str()) == 0) {
    return "";
  }
  return "cannot write " + path + ": " + std::strerror(errno);
}

static std::string ReadPrivate(const std::string& path) {
  const Descriptor file(open(path.c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
  struct stat there {};
  if (!file.open() || fstat(file.get(), &there) != 0 || !S_ISREG(there.st_mode) || !IsPrivate(there)) return "";
  std::array<char, kMaxBytes> bytes{};
  const ssize_t size = read(file.get(), bytes.data(), bytes.size());
  return size <= 0 ? "" : std::string(bytes.data(), static_cast<size_t>(size));
}

static std::optional<LocalServer> ReadServer(const std::string& path) {
  LocalServer server;
  std::istringstream lines(ReadPrivate(path));
  for (std::string line; std::getline(lines, line);) {
    const size_t equals = line.find('=');
    if (equals == std::string::npos) continue;
    const std::string key = line.substr(0, equals), value = line.substr(equals + 1);
    if (key == "address") server.address = value;
    if (key == "socket") server.socket = value;
    if (key == "token") server.token = value;
  }
  return server.address.empty() ? std::nullopt : std::optional(server);
}

void RemoveAddressFile(const std::string& directory, const LocalServer& server) {
  const std::string path = PathOf(directory, server.address);
  const auto there = ReadServer(path);
  if (there && there->token == server.token) unlink(path.c_str());
}

std::optional<LocalServer> FindLocalServer(const std::string& directory, const std::string& address) {
  return directory.empty() ? std::nullopt : ReadServer(PathOf(directory, address));
}

static bool Answers(const std::string& path) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  if (path.empty() || path.size() >= sizeof(address.sun_path)) return false;
  path.copy(address.sun_path, path.size());
  const Descriptor fd(socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
  return connect(fd.get(), reinterpret_cast<const sockaddr*>(&address), sizeof(address)) == 0;
}

std::vector<LocalServer> RunningLocalServers(const std::string& directory) {
  std::vector<LocalServer> running;
  std::error_code error;
  for (fs::directory_iterator entry(directory, error), end; !error && entry != end; entry.increment(error)) {
    if (auto server = ReadServer(entry->path().string()); server && Answers(server->socket)) running.push_back(*server);
  }
  return running;
}

}  // namespace gyrebox::access
