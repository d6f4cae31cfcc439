/// Runs a call on a worker thread, for a user who may make it, and sends the answer.
#pragma once

#include <grpcpp/grpcpp.h>

#include <chrono>
#include <exception>
#include <functional>
#include <string>
#include <type_traits>

#include "absl/status/statusor.h"
#include "api/entry.h"
#include "api/server_context.h"
#include "api/worker_pool.h"
#include "status/status.h"
#include "study/stop.h"

namespace gyrebox::api {

/// Whether a user may change a study. Every handler that changes a study checks this first. NOT_FOUND;
/// PERMISSION_DENIED.
absl::Status CheckMayChange(const ServerContext& server, const access::User& user, int64_t study);

/// Whether a call is abandoned: its caller has gone, or its deadline has passed.
inline study::Stop StopOf(grpc::CallbackServerContext* context) {
  return study::Stop(
      [context] { return context->IsCancelled() || std::chrono::system_clock::now() >= context->deadline(); });
}

/// Runs `work` on a pool and answers with its result. `work` takes, as needed, the calling access::User and the
/// study::Stop of the call, in this order. Never blocks. Does not start work for an abandoned call.
template <class Request, class Response, class Work>
grpc::ServerUnaryReactor* AnswerOn(WorkerPool& pool, const ServerContext& server, grpc::CallbackServerContext* context,
                                   const Request* request, Response* response, Work work) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto refuse = [reactor](const absl::Status& why) {
    reactor->Finish(ToGrpcStatus(why));
    return reactor;
  };
  const auto user = Enter(server, *context, request);
  if (!user.ok()) return refuse(user.status());
  const auto slot = pool.Take(user->name);
  if (!slot.ok()) return refuse(slot.status());
  const bool posted = pool.Post(user->name, [=, user = *user, slot = *slot]() mutable {
    const study::Stop stop = StopOf(context);
    if (stop.asked()) return reactor->Finish(grpc::Status::CANCELLED);
    absl::StatusOr<Response> answer = absl::InternalError("no answer");
    try {
      if constexpr (std::is_invocable_v<Work, access::User, study::Stop>) {
        answer = work(user, stop);
      } else if constexpr (std::is_invocable_v<Work, access::User>) {
        answer = work(user);
      } else if constexpr (std::is_invocable_v<Work, study::Stop>) {
        answer = work(stop);
      } else {
        answer = work();
      }
    } catch (const std::exception& error) {
      answer = absl::InternalError(error.what());
    }
    if (answer.ok()) *response = *std::move(answer);
    slot.reset();  // before the answer: whoever has it may call again
    reactor->Finish(ToGrpcStatus(answer.status()));
  });
  return posted ? reactor : refuse(TooManyCalls());
}

/// The same on the pool for quick calls.
template <class Request, class Response, class Work>
grpc::ServerUnaryReactor* Answer(const ServerContext& server, grpc::CallbackServerContext* context,
                                 const Request* request, Response* response, Work work) {
  return AnswerOn(server.pool, server, context, request, response, std::move(work));
}

/// The same for work that another thread completes: `ask` takes the user and a function that sends the answer, to be
/// called exactly once. The call counts against the user's limit until then.
template <class Request, class Response, class Ask>
grpc::ServerUnaryReactor* AnswerLaterOn(WorkerPool& pool, const ServerContext& server,
                                        grpc::CallbackServerContext* context, const Request* request,
                                        Response* response, Ask ask) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto user = Enter(server, *context, request);
  const auto slot = user.ok() ? pool.Take(user->name) : absl::StatusOr<WorkerPool::Slot>(user.status());
  const auto held = std::make_shared<WorkerPool::Slot>(slot.value_or(nullptr));
  const std::function<void(absl::StatusOr<Response>)> finish = [=](absl::StatusOr<Response> answer) {
    if (answer.ok()) *response = *std::move(answer);
    held->reset();
    reactor->Finish(ToGrpcStatus(answer.status()));
  };
  if (!slot.ok()) {
    finish(slot.status());
  } else if (!pool.Post(user->name, [=, user = *user] { ask(user, finish); })) {
    finish(TooManyCalls());
  }
  return reactor;
}

/// The same on the pool for quick calls.
template <class Request, class Response, class Ask>
grpc::ServerUnaryReactor* AnswerLater(const ServerContext& server, grpc::CallbackServerContext* context,
                                      const Request* request, Response* response, Ask ask) {
  return AnswerLaterOn(server.pool, server, context, request, response, std::move(ask));
}

}  // namespace gyrebox::api
