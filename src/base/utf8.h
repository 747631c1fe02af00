/* base/utf8.h - one character of UTF-8 (RFC 3629); whole strings are in text.h. */
#ifndef QX_BASE_UTF8_H
#define QX_BASE_UTF8_H

#include <stddef.h>

/* Bytes of the character that starts at `bytes`, of which `left` may be read: 1 to 4, or
 * 0 when it is not well-formed (overlong, surrogate, above U+10FFFF, cut short, NUL). */
size_t qx_utf8_width(const char *bytes, size_t left);

#endif
