/// One call of a server: its deadline, its retries and its pages.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>
#include <grpcpp/client_context.h>

#include <chrono>
#include <optional>
#include <string>
#include <thread>
#include <utility>

#include "lib/refusal.h"

namespace gyrebox::client {

inline constexpr std::chrono::seconds kDeadline{10};
/// Tables and answers read the series of all runs; growing a study checks all its points twice.
inline constexpr std::chrono::seconds kLongDeadline{120};
/// Measuring all frames of all runs again.
inline constexpr std::chrono::seconds kLongestDeadline{3600};
inline constexpr std::chrono::milliseconds kFirstPause{100};
inline constexpr std::chrono::milliseconds kLongestPause{2000};
inline constexpr int kTries = 3;
inline constexpr int kPageSize = 1000;

/// A method of a generated stub.
template <class Stub, class Request, class Response>
using Method = grpc::Status (Stub::*)(grpc::ClientContext*, const Request&, Response*);

/// A random id that marks the tries of one call.
std::string NewRequestId();

/// A request about the study or run of this name.
template <class Request>
Request Named(const std::string& name) {
  Request request;
  request.set_name(name);
  return request;
}

/// Makes one call. Retries if the call may be repeated and the server is unreachable, or if the server asks to wait:
/// then the call has not begun.
template <class Stub, class Request, class Response>
absl::StatusOr<Response> Call(Stub& stub, Method<Stub, Request, Response> method, const Request& request,
                              int tries = kTries, std::chrono::seconds deadline = kDeadline) {
  using Clock = std::chrono::steady_clock;
  const auto give_up = Clock::now() + kDeadline;  // for waiting on the server's limits; the call itself may take longer
  for (auto pause = kFirstPause;;) {
    grpc::ClientContext context;
    context.set_deadline(std::chrono::system_clock::now() + deadline);
    Response response;
    const grpc::Status status = (stub.*method)(&context, request, &response);
    if (status.ok()) return response;
    const auto delay = RequestedDelay(status);
    if (delay && *delay <= kLongestPause && Clock::now() + *delay < give_up) {
      std::this_thread::sleep_for(*delay);
      continue;
    }
    if (status.error_code() != grpc::StatusCode::UNAVAILABLE || --tries <= 0) return ToStatus(status);
    std::this_thread::sleep_for(pause);
    pause *= 2;
  }
}

/// Requests page after page and passes each to on_page.
template <class Stub, class Request, class Response, class OnPage>
absl::Status ForPages(Stub& stub, Method<Stub, Request, Response> method, Request request, OnPage on_page,
                      std::chrono::seconds deadline = kDeadline) {
  do {
    auto page = Call(stub, method, request, kTries, deadline);
    if (!page.ok()) return page.status();
    request.set_page_token(page->next_page_token());
    on_page(*std::move(page));
  } while (!request.page_token().empty());
  return absl::OkStatus();
}

/// Joins all pages: the items of all, and the other fields of the last.
/// @param items of a page, such as &Response::mutable_runs.
template <class Stub, class Request, class Response, class Items>
absl::StatusOr<Response> AllPages(Stub& stub, Method<Stub, Request, Response> method, const Request& request,
                                  Items* (Response::*items)(), std::chrono::seconds deadline = kDeadline) {
  Response all;
  const auto add = [&](Response page) {
    Items before = std::move(*(all.*items)());
    for (auto& item : *(page.*items)()) *before.Add() = std::move(item);
    all = std::move(page);
    *(all.*items)() = std::move(before);
  };
  const auto status = ForPages(stub, method, request, add, deadline);
  if (!status.ok()) return status;
  return all;
}

/// All pages of a list that belongs to a study or run. @param page_size 0 for the server's default.
template <class Stub, class Request, class Response, class Items>
absl::StatusOr<Response> ListOf(const std::string& parent, Stub& stub, Method<Stub, Request, Response> method,
                                Items* (Response::*items)(), int page_size = 0) {
  Request request;
  request.set_parent(parent);
  request.set_page_size(page_size);
  return AllPages(stub, method, request, items);
}

/// Repeats a request if the server no longer keeps the pages of its answer.
template <class Ask>
auto UntilKept(Ask ask) {
  auto answer = ask();
  for (int tries = 1; tries < kTries && ReasonOf(answer.status()) == "PAGES_EXPIRED"; ++tries) answer = ask();
  return answer;
}

}  // namespace gyrebox::client
