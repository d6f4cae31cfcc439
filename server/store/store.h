/// Persistent data: one SQLite database in the data directory holds studies, their runs, and the runs' series and
/// journals. Each state of a run is a file, whose length and checksum are in the database.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <memory>
#include <string>

#include "store/connections.h"
#include "store/deletion.h"
#include "store/directory_lock.h"
#include "store/frames.h"
#include "store/journals.h"
#include "store/queue.h"
#include "store/requests.h"
#include "store/runs.h"
#include "store/series.h"
#include "store/space.h"
#include "store/state_directory.h"
#include "store/states.h"
#include "store/studies.h"
#include "store/users.h"

namespace gyrebox::store {

/// One object per subject, over the same connections. Thread-safe. Every write is committed and survives a power cut
/// once its call returns. Each read sees a consistent state of a study and its runs.
class Store {
 public:
  /// Opens or creates the database. Runs interrupted in an earlier process are queued again at their newest checkpoint.
  /// FAILED_PRECONDITION if another server uses the directory, it is not writable, it belongs to another store, or a
  /// newer version made it; DATA_LOSS if the database is damaged.
  static absl::StatusOr<std::unique_ptr<Store>> Open(const std::string& directory);

  Studies& studies() { return studies_; }
  Deletion& deletion() { return deletion_; }
  Runs& runs() { return runs_; }
  Queue& queue() { return queue_; }
  Journals& journals() { return journals_; }
  Series& series() { return series_; }
  Frames& frames() { return frames_; }
  States& states() { return states_; }
  Users& users() { return users_; }
  Requests& requests() { return requests_; }
  Space& space() { return space_; }

 private:
  Store(std::unique_ptr<DirectoryLock> lock, std::unique_ptr<Connection> writer, const std::string& directory);
  absl::Status Migrate();

  std::unique_ptr<DirectoryLock> lock_;
  const std::string directory_;
  Connections connections_;
  StateDirectory files_;
  Space space_{connections_, directory_};
  Requests requests_{connections_};
  Studies studies_{connections_, files_, space_};
  Deletion deletion_{connections_, files_};
  Runs runs_{connections_, files_};
  Queue queue_{connections_, files_};
  Journals journals_{connections_};
  Series series_{connections_};
  Frames frames_{connections_, files_};
  States states_{connections_, files_, space_, series_};
  Users users_{connections_};
};

}  // namespace gyrebox::store
