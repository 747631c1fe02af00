/* base/attr.h - compiler attributes and the two macros of control flow.
 *
 * QX_API      symbol of libquincunx (everything else is hidden)
 * QX_PRINTF   format checking of a printf-like function
 * QX_ASSERT   our own bugs only; gone in release builds
 * QX_TRY      hands a failure up unchanged; the first cause wins */
#ifndef QX_BASE_ATTR_H
#define QX_BASE_ATTR_H

#include <assert.h>

#define QX_API          __attribute__((visibility("default")))
#define QX_PRINTF(f, a) __attribute__((format(printf, f, a)))
#define QX_UNUSED       __attribute__((unused))
#define QX_COUNT(array) (sizeof(array) / sizeof((array)[0]))
#define QX_ASSERT(what) assert(what)

/* Returns from the calling function when `call` fails. */
#define QX_TRY(call)                                                                     \
    do {                                                                                 \
        const qx_status qx_try_status = (call);                                          \
        if (qx_try_status != QX_OK) {                                                    \
            return qx_try_status;                                                        \
        }                                                                                \
    } while (0)

#endif
