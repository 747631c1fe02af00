/* base/utf8.c - well-formed UTF-8, by the table of RFC 3629 section 4. */
#include "base/utf8.h"

#include <stdbool.h>

#include "base/text.h"

/* What may follow a first byte: how many bytes, and the range of the second one, which
 * shuts out overlong forms, surrogates and what lies above U+10FFFF. */
struct lead {
    unsigned char first, last;
    unsigned char second_first, second_last;
    unsigned char width;
};

static const struct lead leads[] = {
    {0x01, 0x7f, 0x00, 0x00, 1},
    {0xc2, 0xdf, 0x80, 0xbf, 2},
    {0xe0, 0xe0, 0xa0, 0xbf, 3},
    {0xe1, 0xec, 0x80, 0xbf, 3},
    {0xed, 0xed, 0x80, 0x9f, 3},
    {0xee, 0xef, 0x80, 0xbf, 3},
    {0xf0, 0xf0, 0x90, 0xbf, 4},
    {0xf1, 0xf3, 0x80, 0xbf, 4},
    {0xf4, 0xf4, 0x80, 0x8f, 4},
};

static bool follows(const unsigned char *bytes, const struct lead *lead)
{
    if (lead->width == 1) {
        return true;
    }
    if (bytes[1] < lead->second_first || bytes[1] > lead->second_last) {
        return false;
    }
    for (size_t i = 2; i < lead->width; i++) {
        if (bytes[i] < 0x80 || bytes[i] > 0xbf) {
            return false;
        }
    }
    return true;
}

size_t qx_utf8_width(const char *bytes, size_t left)
{
    const unsigned char *u = (const unsigned char *)bytes;
    for (size_t i = 0; left > 0 && i < QX_COUNT(leads); i++) {
        if (u[0] >= leads[i].first && u[0] <= leads[i].last) {
            return left >= leads[i].width && follows(u, &leads[i]) ? leads[i].width : 0;
        }
    }
    return 0;
}

bool qx_utf8_valid(const char *bytes, size_t length, size_t *at)
{
    size_t i = 0;
    while (i < length) {
        const size_t width = qx_utf8_width(bytes + i, length - i);
        if (width == 0) {
            *at = i;
            return false;
        }
        i += width;
    }
    return true;
}

size_t qx_utf8_length(const char *text)
{
    size_t count = 0;
    for (const char *c = text; *c != '\0'; c++) {
        if (((unsigned char)*c & 0xc0) != 0x80) {
            count++;
        }
    }
    return count;
}
