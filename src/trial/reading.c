#include "trial/reading.h"

#include <string.h>

#include "base/decimal.h"
#include "base/text.h"

void qx_reading_keep(qx_reading *r, qx_status status)
{
    if (status != QX_OK && r->failed == QX_OK) {
        r->failed = status;
    }
}

void *qx_reading_new(qx_reading *r, size_t count, size_t size)
{
    void *memory = qx_arena_alloc(r->arena, count, size);
    if (memory == NULL) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for the protocol"));
    }
    return memory;
}

qx_place qx_reading_place(const qx_node *node, const char *key)
{
    const qx_node *entry = qx_node_find(node, key);
    if (entry != NULL) {
        return entry->at;
    }
    return node->key != NULL ? node->key_at : node->at;
}

const char *qx_reading_list(qx_reading *r, size_t count, const char *const words[])
{
    /* A message that lists more than this helps nobody. */
    enum { WORDS_TOLD = 16 };
    qx_text *text = qx_text_new(qx_ctx_scratch(r->cx));
    if (text == NULL) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for a message"));
        return "";
    }
    const size_t told = count > WORDS_TOLD ? WORDS_TOLD : count;
    for (size_t i = 0; i < told; i++) {
        char shown[QX_SHOWN_ROOM];
        const bool last = i + 1 == told && told == count;
        qx_text_add(text, i == 0 ? "" : last ? " or " : ", ");
        qx_text_add(text, qx_shown(words[i], shown));
    }
    qx_text_add(text, told < count ? " ..." : "");
    if (qx_text_failed(text)) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for a message"));
    }
    return qx_text_get(text);
}

/* "expected limb, its nearest" or "expected one of a, b or c" or `none`. */
static const char *expect_word(qx_reading *r,
                               const char *name,
                               size_t count,
                               const char *const words[],
                               const char *none)
{
    /* 30 is not nearer to 80 than 90 is: numbers have no misspelling, nor do letters. */
    double value = 0;
    const bool search =
        strlen(name) > 1 && !qx_decimal_read(name, strlen(name), '.', &value, NULL);
    const char *nearest = search ? qx_text_nearest(name, words, count) : NULL;
    if (count == 0) {
        return none;
    }
    char shown[QX_SHOWN_ROOM];
    char *text = nearest != NULL
                     ? qx_arena_printf(qx_ctx_scratch(r->cx),
                                       "expected \"%s\", the nearest that is known",
                                       qx_shown(nearest, shown))
                     : qx_arena_printf(qx_ctx_scratch(r->cx),
                                       "expected %s",
                                       qx_reading_list(r, count, words));
    if (text == NULL) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for a message"));
        return "";
    }
    return text;
}

void qx_reading_unknown(qx_reading *r,
                        qx_place at,
                        const char *what,
                        const char *name,
                        size_t count,
                        const char *const candidates[])
{
    char shown[QX_SHOWN_ROOM];
    QX_COMPLAIN(r,
                at,
                expect_word(r, name, count, candidates, "expected none here"),
                "there is no %s \"%s\"",
                what,
                qx_shown(name, shown));
}

void qx_reading_wrong_kind(qx_reading *r, const qx_node *node, const char *expected)
{
    const char *kind = node->kind == QX_NODE_LIST  ? "a list"
                       : node->kind == QX_NODE_MAP ? "a part with keys of its own"
                                                   : "a single value";
    if (node->key != NULL) {
        char shown[QX_SHOWN_ROOM];
        QX_COMPLAIN(
            r, node->at, expected, "\"%s\" is %s", qx_shown(node->key, shown), kind);
    } else {
        QX_COMPLAIN(r, node->at, expected, "here stands %s", kind);
    }
}

static void complain_key(qx_reading *r,
                         const qx_node *child,
                         const char *what,
                         size_t key_count,
                         const qx_key keys[])
{
    enum { KEYS_MOST = 32 };
    const char *names[KEYS_MOST];
    for (size_t i = 0; i < key_count && i < KEYS_MOST; i++) {
        names[i] = keys[i].name;
    }
    char shown[QX_SHOWN_ROOM];
    QX_COMPLAIN(r,
                child->key_at,
                expect_word(r, child->key, key_count, names, "expected nothing"),
                "\"%s\" is not a key of %s",
                qx_shown(child->key, shown),
                what);
}

static void complain_unknown_keys(qx_reading *r,
                                  const qx_node *map,
                                  const char *what,
                                  size_t key_count,
                                  const qx_key keys[])
{
    for (const qx_node *child = map->first; child != NULL; child = child->next) {
        bool known = false;
        for (size_t i = 0; i < key_count && !known; i++) {
            known = strcmp(child->key, keys[i].name) == 0;
        }
        if (!known) {
            complain_key(r, child, what, key_count, keys);
        }
    }
}

static void
complain_missing(qx_reading *r, const qx_node *map, const char *what, const char *key)
{
    if (map->key == NULL) {
        QX_COMPLAIN(
            r, map->at, "expected the key with a value", "%s has no \"%s\"", what, key);
        return;
    }
    char shown[QX_SHOWN_ROOM];
    QX_COMPLAIN(r,
                map->key_at,
                "expected the key with a value",
                "\"%s\" has no \"%s\"",
                qx_shown(map->key, shown),
                key);
}

void qx_read_keys(qx_reading *r,
                  const qx_node *map,
                  const char *what,
                  size_t key_count,
                  const qx_key keys[],
                  void *target)
{
    if (map->kind != QX_NODE_MAP) {
        qx_reading_wrong_kind(r, map, "expected {key: value, ...}");
        return;
    }
    complain_unknown_keys(r, map, what, key_count, keys);
    for (size_t i = 0; i < key_count; i++) {
        const qx_node *value = qx_node_find(map, keys[i].name);
        if (value == NULL) {
            if (keys[i].need == QX_KEY_MUST) {
                complain_missing(r, map, what, keys[i].name);
            }
        } else if (!qx_node_null(value)) {
            keys[i].read(r, value, target);
        } else if (keys[i].need != QX_KEY_BLANK) {
            QX_COMPLAIN(r,
                        value->key_at,
                        "expected a value, or the key left out",
                        "\"%s\" has no value",
                        keys[i].name);
        }
    }
}

size_t qx_reading_entries(qx_reading *r, const qx_node *section, const char *what)
{
    if (section == NULL || qx_node_null(section)) {
        return 0;
    }
    if (section->kind != QX_NODE_MAP) {
        qx_reading_wrong_kind(r, section, "expected names, each with {key: value, ...}");
        return 0;
    }
    if (section->count > QX_NAMES_MOST) {
        QX_COMPLAIN(r,
                    section->key_at,
                    "expected at most 64",
                    "the protocol names %zu %s",
                    section->count,
                    what);
        return QX_NAMES_MOST;
    }
    return section->count;
}
