/// Limit on the open files of this process, and how many connections it leaves room for.
#pragma once

namespace gyrebox::access {

/// Raises the limit of this process to the most that it may have.
void RaiseDescriptorLimit();

/// The current limit.
int DescriptorLimit();

/// Connections that a limit allows, 1000 at most. Each takes two descriptors, gRPC's and the acceptor's; some are
/// reserved for the store, the log and the device.
int MostConnections(int descriptor_limit);

}  // namespace gyrebox::access
