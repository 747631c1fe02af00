/* trial/shown.h - what a user wrote, made fit for a message: at most some 60 bytes, cut
 * between characters, line ends and control characters as blanks. */
#ifndef QX_TRIAL_SHOWN_H
#define QX_TRIAL_SHOWN_H

#include <stddef.h>

#define QX_SHOWN_ROOM 72

/* `length` bytes of valid UTF-8 into `out`; longer texts end in "...". Returns `out`. */
const char *qx_shown_bytes(const char *text, size_t length, char out[QX_SHOWN_ROOM]);

/* The same for a whole string. */
const char *qx_shown(const char *text, char out[QX_SHOWN_ROOM]);

#endif
