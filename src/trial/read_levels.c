/* Levels of treatments, seasons and classes. */
#include <string.h>

#include "base/decimal.h"
#include "trial/reading.h"

static bool blank(char c)
{
    return c == ' ' || c == '\t' || c == '\n';
}

static bool level_text_fits(qx_reading *r, const qx_node *node)
{
    enum { LEVEL_BYTES_MOST = 200 };
    const char *text = node->text;
    const size_t length = strlen(text);
    if (qx_node_null(node) || length == 0 || strcmp(text, "NA") == 0 ||
        strcmp(text, ".") == 0) {
        char shown[QX_SHOWN_ROOM];
        QX_COMPLAIN(r,
                    node->at,
                    "expected a text or a number",
                    "\"%s\" cannot be a level: it means missing",
                    qx_shown(text, shown));
        return false;
    }
    if (length > LEVEL_BYTES_MOST) {
        QX_COMPLAIN(r, node->at, "expected at most 200 bytes", "the level is too long");
        return false;
    }
    if (blank(text[0]) || blank(text[length - 1]) || strpbrk(text, "\n\t") != NULL) {
        QX_COMPLAIN(r,
                    node->at,
                    "expected text without blanks at its ends, on one line",
                    "the level holds blanks at its ends, a tab or a line end");
        return false;
    }
    return true;
}

/* Complains when the level is there already. */
static bool
level_is_new(qx_reading *r, const qx_node *node, size_t count, const char *const level[])
{
    const size_t same = qx_level_find(count, level, node->text, strlen(node->text));
    if (same == QX_NONE) {
        return true;
    }
    char shown[QX_SHOWN_ROOM];
    char first[QX_SHOWN_ROOM];
    QX_COMPLAIN(r,
                node->at,
                "expected every level once",
                "level \"%s\" is the same as \"%s\" before it",
                qx_shown(node->text, shown),
                qx_shown(level[same], first));
    return false;
}

const char *const *
qx_read_levels(qx_reading *r, const qx_node *node, size_t least, size_t *count)
{
    *count = 0;
    if (node->kind != QX_NODE_LIST) {
        qx_reading_wrong_kind(r, node, "expected a list of levels: [one, two]");
        return NULL;
    }
    const size_t most =
        qx_read_count(r, node, QX_LEVELS_MOST, "expected a list of levels: [one, two]");
    const char **level = qx_reading_new(r, most, sizeof *level);
    if (level == NULL) {
        return NULL;
    }
    size_t kept = 0;
    size_t seen = 0;
    for (const qx_node *child = qx_read_next(node, NULL); child != NULL && seen < most;
         child = qx_read_next(node, child)) {
        seen++;
        if (level_text_fits(r, child) && level_is_new(r, child, kept, level)) {
            level[kept] = qx_read_text(r, child);
            kept++;
        }
    }
    if (most > 0 && most < least) {
        QX_COMPLAIN(r,
                    node->at,
                    least == 2 ? "expected at least two levels" : "expected more levels",
                    "a single level is given");
    }
    *count = kept;
    return level;
}

const double *qx_read_scores(qx_reading *r, size_t count, const char *const level[])
{
    double *score = qx_reading_new(r, count, sizeof *score);
    if (score == NULL || count == 0) {
        return NULL;
    }
    for (size_t i = 0; i < count; i++) {
        if (!qx_decimal_read(level[i], strlen(level[i]), '.', &score[i], NULL)) {
            return NULL;
        }
    }
    return score;
}
