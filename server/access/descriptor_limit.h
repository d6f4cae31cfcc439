/// How many files this process may have open, and how many connections that leaves room for.
#pragma once

namespace gyrebox::access {

/// Raises the limit of this process to the most that it may have.
void RaiseDescriptorLimit();

/// The limit as it is now.
int DescriptorLimit();

/// Connections for which a limit has room, 1000 at most. Each takes two descriptors, gRPC's and the acceptor's; some
/// are kept for the store, the log and the device.
int MostConnections(int descriptor_limit);

}  // namespace gyrebox::access
