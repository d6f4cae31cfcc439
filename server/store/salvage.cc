#include "store/salvage.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <filesystem>
#include <memory>

#include "store/database.h"
#include "store/pages.h"
#include "store/salvage_check.h"
#include "store/salvage_rows.h"
#include "store/sql/migrations.h"
#include "store/sql/salvage.h"
#include "store/state_file.h"
#include "store/store.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

/// First layout whose rows are compatible with the current ones, with fewer columns.
constexpr uint32_t kFirstLayout = 5;

/// FAILED_PRECONDITION if a server uses the directory. Writes nothing there.
static absl::Status CheckUnused(const std::string& directory) {
  const int file = open((directory + "/lock").c_str(), O_RDONLY | O_CLOEXEC);
  if (file < 0) return absl::OkStatus();
  const bool is_free = flock(file, LOCK_SH | LOCK_NB) == 0;
  close(file);
  return is_free ? absl::OkStatus() : absl::FailedPreconditionError("a server uses " + directory + "; stop it first");
}

static absl::Status CheckLayout(PageFile& pages) {
  constexpr uint32_t kNewest = std::size(sql::kMigrations), kNone = 1000;
  const uint32_t layout = pages.layout();  // 0 or too large if damaged: assume the current one
  const bool known = layout >= kFirstLayout && layout <= kNewest;
  if (layout == 0 || layout >= kNone || known) return absl::OkStatus();
  return absl::FailedPreconditionError("that store is of a version that this one does not know how to save");
}

static std::string Report(const Salvaged& salvaged, const std::string& from) {
  std::string text = "Saved from " + from + ": " + std::to_string(salvaged.studies) + " studies, " +
                     std::to_string(salvaged.runs) + " runs.\n";
  text += salvaged.lost.empty() ? "Nothing was lost.\n" : "Lost:\n";
  for (const std::string& line : salvaged.lost) text += line + "\n";
  return text;
}

static absl::StatusOr<Salvaged> Fill(PageFile& pages, const std::string& from, const std::string& to) {
  auto database = Connection::Open(to + "/gyrebox.db", Connection::Mode::kWrite);
  if (!database.ok()) return database.status();
  GYREBOX_RETURN_IF_ERROR((*database)->Execute("PRAGMA foreign_keys = OFF"));
  const auto found = CopyRows(pages, **database);
  if (!found.ok()) return found.status();
  Salvaged salvaged;
  if (found->bad_pages + static_cast<size_t>(found->bad_rows) > 0) {
    salvaged.lost.push_back("of the database: " + std::to_string(found->bad_pages) + " pages and " +
                            std::to_string(found->bad_rows) + " rows; as far as they told more than is known " +
                            "otherwise, it follows");
  }
  const auto made = MakeSound(**database, *found, from + "/states", to + "/states", &salvaged.lost);
  if (!made.ok()) return made;
  Statement count = (*database)->Prepare(sql::kCountAll);
  if (count.Next()) {
    salvaged.studies = count.Int(0);
    salvaged.runs = count.Int(1);
  }
  return count.status().ok() ? absl::StatusOr<Salvaged>(salvaged) : count.status();
}

absl::StatusOr<Salvaged> Salvage(const std::string& from, const std::string& to) {
  GYREBOX_RETURN_IF_ERROR(CheckUnused(from));
  GYREBOX_RETURN_IF_ERROR(CheckFree(to));
  auto pages = PageFile::Open(from + "/gyrebox.db");
  if (!pages.ok()) return pages.status();
  GYREBOX_RETURN_IF_ERROR(CheckLayout(*pages));
  if (auto empty = Store::Open(to); !empty.ok()) return empty.status();
  auto salvaged = Fill(*pages, from, to);
  if (!salvaged.ok()) return salvaged.status();
  // Open() checks all pages and recovers interrupted runs.
  if (auto whole = Store::Open(to); !whole.ok()) return whole.status();
  const std::string report = Report(*salvaged, from);
  if (auto status = WriteAtomically(to, std::vector<WholeFile>{{"salvage.txt", report}}); !status.ok()) return status;
  return salvaged;
}

}  // namespace gyrebox::store
