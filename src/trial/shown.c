#include "trial/shown.h"

#include <string.h>

const char *qx_shown_bytes(const char *text, size_t length, char out[QX_SHOWN_ROOM])
{
    static const char dots[] = "...";
    size_t n = length;
    if (n > QX_SHOWN_ROOM - sizeof dots) {
        n = QX_SHOWN_ROOM - sizeof dots;
        /* Back to the first byte of a character: following bytes are 10xxxxxx. */
        while (n > 0 && ((unsigned char)text[n] & 0xC0U) == 0x80U) {
            n--;
        }
    }
    for (size_t i = 0; i < n; i++) {
        const unsigned char c = (unsigned char)text[i];
        out[i] = text[i];
        if (c < 0x20 || c == 0x7F) {
            out[i] = ' ';
        }
    }
    memcpy(out + n, n < length ? dots : "", n < length ? sizeof dots : 1);
    return out;
}

const char *qx_shown(const char *text, char out[QX_SHOWN_ROOM])
{
    return qx_shown_bytes(text, strlen(text), out);
}
