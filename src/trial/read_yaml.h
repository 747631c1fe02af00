/* trial/read_yaml.h - a protocol file (YAML 1.2, contract section 2) to qx_protocol.
 *
 * Built on libyaml events, so that every problem has its line and column. All problems are
 * collected; the protocol is given back only when there is none. Limits: 1 MiB, depth 8,
 * 20,000 nodes; aliases, anchors, tags and several documents are refused; UTF-8 only. */
#ifndef QX_TRIAL_READ_YAML_H
#define QX_TRIAL_READ_YAML_H

#include "base/ctx.h"
#include "base/problems.h"

struct qx_protocol;

#define QX_PROTOCOL_BYTES_MOST ((size_t)1 << 20)

/* From memory; `file` is only for messages. QX_E_INPUT when `problems` grew; then *out
 * stays as it was. The caller frees *out. */
qx_status qx_protocol_parse(qx_ctx *cx,
                            const char *file,
                            const char *bytes,
                            size_t length,
                            qx_problems *problems,
                            struct qx_protocol **out);

/* From a file ("-": standard input). */
qx_status qx_protocol_read(qx_ctx *cx,
                           const char *path,
                           qx_problems *problems,
                           struct qx_protocol **out);

#endif
