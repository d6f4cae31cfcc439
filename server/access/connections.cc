#include "access/connections.h"

#include <algorithm>
#include <utility>

namespace gyrebox::access {

/// Overhead of each call: headers and frames.
constexpr int64_t kCallBytes = 16 << 10;
/// Bytes that a stream reader gets for each byte that it sends: window updates, each in a record of TLS.
constexpr int64_t kSentPerReceived = 256;

bool Connections::HasRoomLocked(const Peer& peer) const {
  const auto count = static_cast<int>(entries_.size());
  if (peer.is_unix) return count < bounds_.in_all;
  if (count >= bounds_.in_all - bounds_.in_all / 8) return false;
  const auto found = of_network_.find(peer.network);
  return peer.is_local || found == of_network_.end() || found->second < bounds_.of_address;
}

std::optional<uint64_t> Connections::Add(const Peer& peer, Clock::time_point now) {
  std::lock_guard lock(mutex_);
  if (!HasRoomLocked(peer)) {
    ++turned_away_;
    return std::nullopt;
  }
  Entry entry;
  entry.peer = peer;
  entry.since = now;
  const uint64_t number = ++last_;
  if (!peer.is_unix) {
    entry.deadline = now + bounds_.patience;
    by_name_[peer.name] = number;
    ++of_network_[peer.network];
  }
  entries_.emplace(number, std::move(entry));
  return number;
}

void Connections::Remove(uint64_t number) {
  std::lock_guard lock(mutex_);
  const auto found = entries_.find(number);
  if (found == entries_.end()) return;
  const Peer& peer = found->second.peer;
  // The peer may have reconnected from the same port already.
  if (const auto named = by_name_.find(peer.name); named != by_name_.end() && named->second == number) {
    by_name_.erase(named);
  }
  if (const auto of = of_network_.find(peer.network); of != of_network_.end() && --of->second == 0) {
    of_network_.erase(of);
  }
  pending_ -= found->second.pending;
  entries_.erase(found);
}

Connections::Entry* Connections::FindLocked(const std::string& peer) {
  const auto named = by_name_.find(peer);
  return named == by_name_.end() ? nullptr : &entries_.at(named->second);
}

void Connections::NoteBegun(const std::string& peer) {
  std::lock_guard lock(mutex_);
  Entry* entry = FindLocked(peer);
  if (entry == nullptr || ++entry->broken != bounds_.broken_calls) return;
  entry->deadline = Clock::time_point::min();
  if (wake_) wake_();
}

void Connections::NoteCall(const std::string& peer, bool known, int64_t bytes) {
  std::lock_guard lock(mutex_);
  Entry* entry = FindLocked(peer);
  if (entry == nullptr || entry->broken >= bounds_.broken_calls) return;
  entry->broken = std::max(0, entry->broken - 2);
  entry->let_in += bytes + kCallBytes;
  if (known) {
    entry->deadline.reset();
  } else if (entry->deadline) {
    entry->deadline = entry->since + bounds_.stranger;
  }
}

void Connections::NoteTraffic(uint64_t number, const Traffic& traffic) {
  std::lock_guard lock(mutex_);
  const auto found = entries_.find(number);
  if (found == entries_.end()) return;
  Entry& entry = found->second;
  const int64_t received = traffic.received - entry.traffic.received, sent = traffic.sent - entry.traffic.sent;
  const int64_t pending =
      std::max(int64_t{0}, entry.pending + received - sent / kSentPerReceived - std::exchange(entry.let_in, 0));
  pending_ += pending - entry.pending;
  entry.pending = pending;
  entry.traffic = traffic;
  if (pending > bounds_.bytes_of_one) entry.deadline = Clock::time_point::min();
  if (pending_ > bounds_.bytes_of_all) EndLargestLocked();
}

void Connections::EndLargestLocked() {
  const auto largest = std::max_element(entries_.begin(), entries_.end(), [](const auto& a, const auto& b) {
    return a.second.pending < b.second.pending;
  });
  largest->second.deadline = Clock::time_point::min();
}

std::vector<uint64_t> Connections::Overdue(Clock::time_point now) {
  std::vector<uint64_t> overdue;
  std::lock_guard lock(mutex_);
  for (auto& [number, entry] : entries_) {
    if (!entry.deadline || *entry.deadline > now) continue;
    overdue.push_back(number);
    entry.deadline.reset();
  }
  return overdue;
}

void Connections::SetWake(std::function<void()> wake) {
  std::lock_guard lock(mutex_);
  wake_ = std::move(wake);
}

int Connections::count() const {
  std::lock_guard lock(mutex_);
  return static_cast<int>(entries_.size());
}

int64_t Connections::turned_away() const {
  std::lock_guard lock(mutex_);
  return turned_away_;
}

void Connections::NoteTurnedAway() {
  std::lock_guard lock(mutex_);
  ++turned_away_;
}

}  // namespace gyrebox::access
