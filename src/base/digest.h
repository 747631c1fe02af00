/* base/digest.h - SHA-256 (FIPS 180-4) of a text, as 64 hexadecimal digits: says later
 * whether a protocol, a tree list or a layout is still what it was. Cover of libsodium. */
#ifndef QX_BASE_DIGEST_H
#define QX_BASE_DIGEST_H

#include <stddef.h>

#include "base/attr.h"

QX_API void qx_digest(const char *bytes, size_t length, char out[65]);

#endif
