/// Answers a call from a worker thread, for a person who may make it.
#pragma once

#include <grpcpp/grpcpp.h>

#include <exception>
#include <functional>
#include <string>
#include <type_traits>

#include "absl/status/statusor.h"
#include "api/entry.h"
#include "api/rooms.h"
#include "api/status.h"
#include "api/worker_pool.h"

namespace gyrebox::api {

/// Whether a person may change a study: every handler that changes one asks this first. NOT_FOUND; PERMISSION_DENIED.
absl::Status CheckMayChange(const Rooms& rooms, const access::Person& person, int64_t study);

/// Runs `work`, which takes nothing or the access::Person who asks, on a pool and answers with what it returns. Never
/// blocks.
template <class Request, class Response, class Work>
grpc::ServerUnaryReactor* AnswerOn(WorkerPool& pool, const Rooms& rooms, grpc::CallbackServerContext* context,
                                   const Request* request, Response* response, Work work) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto person = Enter(rooms, *context, request);
  if (!person.ok()) {
    reactor->Finish(ToGrpcStatus(person.status()));
    return reactor;
  }
  const bool posted = pool.Post([=, person = *person] {
    if (context->IsCancelled()) return reactor->Finish(grpc::Status::CANCELLED);
    absl::StatusOr<Response> answer = absl::InternalError("no answer");
    try {
      if constexpr (std::is_invocable_v<Work, access::Person>) {
        answer = work(person);
      } else {
        answer = work();
      }
    } catch (const std::exception& error) {
      answer = absl::InternalError(error.what());
    }
    if (answer.ok()) *response = *std::move(answer);
    reactor->Finish(ToGrpcStatus(answer.status()));
  });
  if (!posted) reactor->Finish(ToGrpcStatus(TooManyCalls()));
  return reactor;
}

/// The same on the pool of quick calls.
template <class Request, class Response, class Work>
grpc::ServerUnaryReactor* Answer(const Rooms& rooms, grpc::CallbackServerContext* context, const Request* request,
                                 Response* response, Work work) {
  return AnswerOn(rooms.pool, rooms, context, request, response, std::move(work));
}

/// The same for work that another thread comes back from: `ask` takes the person, and the function that answers, to be
/// called once.
template <class Request, class Response, class Ask>
grpc::ServerUnaryReactor* AnswerLater(const Rooms& rooms, grpc::CallbackServerContext* context, const Request* request,
                                      Response* response, Ask ask) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const std::function<void(absl::StatusOr<Response>)> finish = [=](absl::StatusOr<Response> answer) {
    if (answer.ok()) *response = *std::move(answer);
    reactor->Finish(ToGrpcStatus(answer.status()));
  };
  const auto person = Enter(rooms, *context, request);
  if (!person.ok()) {
    finish(person.status());
  } else if (!rooms.pool.Post([=, person = *person] { ask(person, finish); })) {
    finish(TooManyCalls());
  }
  return reactor;
}

}  // namespace gyrebox::api
