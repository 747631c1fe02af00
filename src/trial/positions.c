#include "trial/positions.h"

#include <math.h>
#include <string.h>

bool qx_position_read(const char *text, char separator, double *out)
{
    const size_t length = strlen(text);
    const bool number =
        qx_decimal_read(text, length, '.', out, NULL) ||
        (separator == ';' && qx_decimal_read(text, length, ',', out, NULL));
    return number && fabs(*out) <= QX_POSITION_MOST && *out == floor(*out);
}
