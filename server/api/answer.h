/// Answers a unary call from a worker thread.
#pragma once

#include <grpcpp/grpcpp.h>

#include <exception>
#include <functional>
#include <string>

#include "absl/status/statusor.h"
#include "api/status.h"
#include "api/worker_pool.h"

namespace gyrebox::api {

/// Runs `work` on the pool and answers with what it returns. Never blocks.
template <class Response>
grpc::ServerUnaryReactor* Answer(WorkerPool& pool, grpc::CallbackServerContext* context, Response* response,
                                 std::function<absl::StatusOr<Response>()> work) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const bool posted = pool.Post([=] {
    if (context->IsCancelled()) return reactor->Finish(grpc::Status::CANCELLED);
    absl::StatusOr<Response> answer = absl::InternalError("no answer");
    try {
      answer = work();
    } catch (const std::exception& error) {
      answer = absl::InternalError(error.what());
    }
    if (answer.ok()) *response = *std::move(answer);
    reactor->Finish(ToGrpcStatus(answer.status()));
  });
  if (!posted) reactor->Finish(ToGrpcStatus(absl::ResourceExhaustedError("too many calls; try again later")));
  return reactor;
}

/// The same for work that another thread comes back from: `ask` gets the function that answers, to be called once.
template <class Response>
grpc::ServerUnaryReactor* AnswerLater(WorkerPool& pool, grpc::CallbackServerContext* context, Response* response,
                                      std::function<void(std::function<void(absl::StatusOr<Response>)>)> ask) {
  grpc::ServerUnaryReactor* reactor = context->DefaultReactor();
  const auto finish = [=](absl::StatusOr<Response> answer) {
    if (answer.ok()) *response = *std::move(answer);
    reactor->Finish(ToGrpcStatus(answer.status()));
  };
  if (!pool.Post([=] { ask(finish); })) finish(absl::ResourceExhaustedError("too many calls; try again later"));
  return reactor;
}

}  // namespace gyrebox::api
