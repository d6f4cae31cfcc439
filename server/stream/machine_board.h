/// Sends the state of the machine to any number of readers once a second.
#pragma once

#include <absl/status/statusor.h>
#include <grpcpp/grpcpp.h>

#include <functional>
#include <memory>
#include <vector>

#include "gyrebox/v1/machine_service.grpc.pb.h"
#include "stream/hub.h"

namespace gyrebox::stream {

struct MachineReader;

/// One thread reads the state of the machine for all readers. A reader that has not taken the last message gets the
/// next one later.
class MachineBoard : private Hub<MachineReader> {
 public:
  explicit MachineBoard(std::function<absl::StatusOr<v1::Machine>()> look);
  ~MachineBoard();

  /// A stream for one reader, which owns itself. Does not block. @param authorization of the reader: the stream is
  /// refused without one, and gets no more messages once it does not hold.
  grpc::ServerWriteReactor<v1::WatchMachineResponse>* Watch(absl::StatusOr<StreamAuthorization> authorization);

  /// Ends all streams, present and future.
  void GoAway();

 private:
  friend MachineReader;

  void AddedLocked(const MachineReader& reader) override;
  void Loop();
  void Send(const std::vector<std::shared_ptr<MachineReader>>& readers);
  void Serve(MachineReader& reader, const absl::StatusOr<v1::Machine>& machine);

  const std::function<absl::StatusOr<v1::Machine>()> look_;
  bool fresh_ = false;  ///< some reader has had no message yet; guarded by the hub's mutex
};

}  // namespace gyrebox::stream
