/* Names: those that a protocol gives, and those that point at a unit or a treatment. */
#include <string.h>

#include "trial/reading.h"

/* isalnum without the locale. */
static bool letter_or_digit(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
           (unsigned char)c >= 0x80;
}

void qx_reading_check_name(qx_reading *r, qx_place at, const char *name)
{
    enum { NAME_BYTES_MOST = 64 };
    static const char *const reserved[] = {"residual", "intercept"};
    char shown[QX_SHOWN_ROOM];
    bool fits = name[0] != '\0' && strlen(name) <= NAME_BYTES_MOST;
    for (const char *c = name; *c != '\0'; c++) {
        fits = fits && (letter_or_digit(*c) || strchr("_.-", *c) != NULL);
    }
    if (!fits || strcmp(name, ".") == 0 || strcmp(name, "NA") == 0) {
        QX_COMPLAIN(r,
                    at,
                    "expected at most 64 letters, digits, _, - or points, for it heads a "
                    "column of the data",
                    "\"%s\" cannot be a name",
                    qx_shown(name, shown));
    }
    for (size_t i = 0; i < QX_COUNT(reserved); i++) {
        if (strcmp(name, reserved[i]) == 0) {
            QX_COMPLAIN(r,
                        at,
                        "expected another name",
                        "\"%s\" has a meaning of its own in results",
                        name);
        }
    }
}

size_t qx_read_unit_name(qx_reading *r, const qx_node *node)
{
    const char *names[QX_NAMES_MOST];
    const char *name = qx_read_text(r, node);
    for (size_t u = 0; u < r->p->unit_count; u++) {
        names[u] = r->unit[u].name;
        if (strcmp(names[u], name) == 0) {
            return u;
        }
    }
    if (node->kind == QX_NODE_SCALAR) {
        qx_reading_unknown(r, node->at, "unit", name, r->p->unit_count, names);
    }
    return QX_NONE;
}

size_t qx_read_treatment_name(qx_reading *r, const qx_node *node)
{
    const char *names[QX_NAMES_MOST];
    const char *name = qx_read_text(r, node);
    for (size_t t = 0; t < r->p->treatment_count; t++) {
        names[t] = r->treatment[t].name;
        if (strcmp(names[t], name) == 0) {
            return t;
        }
    }
    if (node->kind == QX_NODE_SCALAR) {
        qx_reading_unknown(r, node->at, "treatment", name, r->p->treatment_count, names);
    }
    return QX_NONE;
}
