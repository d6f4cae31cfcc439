/// Answers a call from a worker thread, for a person who may make it.
#pragma once

#include <grpcpp/grpcpp.h>

#include <chrono>
#include <exception>
#include <functional>
#include <string>
#include <type_traits>

#include "absl/status/statusor.h"
#include "api/entry.h"
#include "api/rooms.h"
#include "api/status.h"
#include "api/worker_pool.h"
#include "study/stop.h"

namespace gyrebox::api {

/// Whether a person may change a study: every handler that changes one asks this first. NOT_FOUND; PERMISSION_DENIED.
absl::Status CheckMayChange(const Rooms& rooms, const access::Person& person, int64_t study);

/// Whether nobody waits for a call any more: its caller has gone, or its deadline has passed.
inline study::Stop StopOf(grpc::CallbackServerContext* context) {
  return study::Stop(
      [context] { return context->IsCancelled() || std::chrono::system_clock::now() >= context->deadline(); });
}

/// Runs `work` on a pool and answers with what it returns. It takes what it needs of the access::Person who asks and
/// the study::Stop of the call, in this order. Never blocks. Work is not begun where nobody waits for it any more.
template <class Request, class Response, class Work>
grpc::ServerUnaryReactor* AnswerOn(WorkerPool& pool, const Rooms& rooms, grpc::CallbackServerContext* context,
                                   const Request* request, Response* response, Work work) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto refuse = [reactor](const absl::Status& why) {
    reactor->Finish(ToGrpcStatus(why));
    return reactor;
  };
  const auto person = Enter(rooms, *context, request);
  if (!person.ok()) return refuse(person.status());
  const auto place = pool.Take(person->name);
  if (!place.ok()) return refuse(place.status());
  const bool posted = pool.Post(person->name, [=, person = *person, place = *place]() mutable {
    const study::Stop stop = StopOf(context);
    if (stop.asked()) return reactor->Finish(grpc::Status::CANCELLED);
    absl::StatusOr<Response> answer = absl::InternalError("no answer");
    try {
      if constexpr (std::is_invocable_v<Work, access::Person, study::Stop>) {
        answer = work(person, stop);
      } else if constexpr (std::is_invocable_v<Work, access::Person>) {
        answer = work(person);
      } else if constexpr (std::is_invocable_v<Work, study::Stop>) {
        answer = work(stop);
      } else {
        answer = work();
      }
    } catch (const std::exception& error) {
      answer = absl::InternalError(error.what());
    }
    if (answer.ok()) *response = *std::move(answer);
    place.reset();  // who has the answer may call again
    reactor->Finish(ToGrpcStatus(answer.status()));
  });
  return posted ? reactor : refuse(TooManyCalls());
}

/// The same on the pool of quick calls.
template <class Request, class Response, class Work>
grpc::ServerUnaryReactor* Answer(const Rooms& rooms, grpc::CallbackServerContext* context, const Request* request,
                                 Response* response, Work work) {
  return AnswerOn(rooms.pool, rooms, context, request, response, std::move(work));
}

/// The same for work that another thread comes back from: `ask` takes the person, and the function that answers, to be
/// called once. The call counts among those of its person until then.
template <class Request, class Response, class Ask>
grpc::ServerUnaryReactor* AnswerLaterOn(WorkerPool& pool, const Rooms& rooms, grpc::CallbackServerContext* context,
                                        const Request* request, Response* response, Ask ask) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto person = Enter(rooms, *context, request);
  const auto place = person.ok() ? pool.Take(person->name) : absl::StatusOr<WorkerPool::Place>(person.status());
  const auto held = std::make_shared<WorkerPool::Place>(place.value_or(nullptr));
  const std::function<void(absl::StatusOr<Response>)> finish = [=](absl::StatusOr<Response> answer) {
    if (answer.ok()) *response = *std::move(answer);
    held->reset();
    reactor->Finish(ToGrpcStatus(answer.status()));
  };
  if (!place.ok()) {
    finish(place.status());
  } else if (!pool.Post(person->name, [=, person = *person] { ask(person, finish); })) {
    finish(TooManyCalls());
  }
  return reactor;
}

/// The same on the pool of quick calls.
template <class Request, class Response, class Ask>
grpc::ServerUnaryReactor* AnswerLater(const Rooms& rooms, grpc::CallbackServerContext* context, const Request* request,
                                      Response* response, Ask ask) {
  return AnswerLaterOn(rooms.pool, rooms, context, request, response, std::move(ask));
}

}  // namespace gyrebox::api
