#include "trial/yaml_tree.h"

#include <string.h>
#include <yaml.h>

#include "base/map.h"
#include "trial/shown.h"
#include "trial/yaml_syntax.h"

typedef struct builder {
    qx_ctx *cx;
    qx_arena *arena;
    const char *file;
    const char *bytes;
    size_t length;
    qx_problems *problems;
    yaml_parser_t parser;
    size_t nodes;
    bool stop;        /* the rest cannot be read */
    qx_status failed; /* first failure of the machine */
} builder;

static void keep(builder *b, qx_status status)
{
    if (status != QX_OK && b->failed == QX_OK) {
        b->failed = status;
        b->stop = true;
    }
}

#define COMPLAIN(b, at, expected, ...)                                                   \
    keep((b), qx_problem_add((b)->problems, (b)->file, (at), (expected), __VA_ARGS__))

static qx_place place_of(yaml_mark_t mark)
{
    const qx_place at = {.line = mark.line + 1, .column = mark.column + 1};
    return at;
}

static void no_memory(builder *b)
{
    keep(b, qx_fail(b->cx, QX_E_NOMEM, "no memory for the protocol"));
}

/* Is the character numbered `index` (libyaml counts characters) a tab? */
static bool is_tab(const builder *b, size_t index)
{
    size_t at = 0;
    for (size_t i = 0; i < index && at < b->length; i++) {
        at++;
        while (at < b->length && ((unsigned char)b->bytes[at] & 0xC0U) == 0x80U) {
            at++;
        }
    }
    return at < b->length && b->bytes[at] == '\t';
}

static void tell_syntax(builder *b)
{
    const yaml_parser_t *y = &b->parser;
    const char *theirs = y->problem != NULL ? y->problem : "unreadable";
    const qx_yaml_fault fault =
        qx_yaml_fault_of(theirs, is_tab(b, y->problem_mark.index));
    b->stop = true;
    if (fault.wrong == NULL) {
        COMPLAIN(b,
                 place_of(y->problem_mark),
                 "expected YAML of keys and values",
                 "the text cannot be read (%s)",
                 theirs);
        return;
    }
    const bool start = fault.at_start && y->context != NULL;
    COMPLAIN(b,
             place_of(start ? y->context_mark : y->problem_mark),
             fault.expected,
             "%s",
             fault.wrong);
}

/* False when the parser cannot go on; the reason is told. */
static bool next_event(builder *b, yaml_event_t *event)
{
    if (b->stop) {
        return false;
    }
    if (yaml_parser_parse(&b->parser, event) != 0) {
        return true;
    }
    if (b->parser.error == YAML_MEMORY_ERROR) {
        no_memory(b);
    } else {
        tell_syntax(b);
    }
    return false;
}

static qx_node *new_node(builder *b, qx_node_kind kind, qx_place at)
{
    if (b->nodes >= QX_YAML_NODES) {
        b->stop = true;
        COMPLAIN(b,
                 at,
                 "expected a protocol of at most 20,000 values",
                 "the protocol holds too many values");
        return NULL;
    }
    qx_node *node = qx_arena_alloc(b->arena, 1, sizeof *node);
    if (node == NULL) {
        no_memory(b);
        return NULL;
    }
    b->nodes++;
    node->kind = kind;
    node->at = at;
    node->text = "";
    return node;
}

static bool has_control(const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        const unsigned char c = (unsigned char)text[i];
        if ((c < 0x20 && c != '\n' && c != '\t') || c == 0x7F) {
            return true;
        }
    }
    return false;
}

static qx_node *scalar_node(builder *b, const yaml_event_t *event)
{
    const qx_place at = place_of(event->start_mark);
    qx_node *node = new_node(b, QX_NODE_SCALAR, at);
    if (node == NULL) {
        return NULL;
    }
    const char *text = (const char *)event->data.scalar.value;
    const size_t length = event->data.scalar.length;
    node->plain = event->data.scalar.style == YAML_PLAIN_SCALAR_STYLE;
    if (has_control(text, length)) {
        COMPLAIN(b,
                 at,
                 "expected text without control characters",
                 "the text holds a control character");
        return node;
    }
    node->text = qx_arena_text(b->arena, text, length);
    if (node->text == NULL) {
        no_memory(b);
        return NULL;
    }
    return node;
}

static void refuse_marks(builder *b, const yaml_event_t *event)
{
    const yaml_char_t *anchor = NULL;
    const yaml_char_t *tag = NULL;
    if (event->type == YAML_SCALAR_EVENT) {
        anchor = event->data.scalar.anchor;
        tag = event->data.scalar.tag;
    } else if (event->type == YAML_SEQUENCE_START_EVENT) {
        anchor = event->data.sequence_start.anchor;
        tag = event->data.sequence_start.tag;
    } else if (event->type == YAML_MAPPING_START_EVENT) {
        anchor = event->data.mapping_start.anchor;
        tag = event->data.mapping_start.tag;
    }
    if (anchor != NULL) {
        COMPLAIN(b,
                 place_of(event->start_mark),
                 "expected the value to be written out wherever it is used",
                 "anchors (&) are not part of a protocol");
    }
    if (tag != NULL) {
        COMPLAIN(b,
                 place_of(event->start_mark),
                 "expected the value alone",
                 "tags (!) are not part of a protocol");
    }
}

static qx_node *build(builder *b, const yaml_event_t *event, size_t depth);

/* The next node; NULL at the end of the container or when the rest cannot be read. */
static qx_node *next_node(builder *b, size_t depth)
{
    yaml_event_t event;
    if (!next_event(b, &event)) {
        return NULL;
    }
    qx_node *node = NULL;
    if (event.type != YAML_SEQUENCE_END_EVENT && event.type != YAML_MAPPING_END_EVENT) {
        node = build(b, &event, depth);
    }
    yaml_event_delete(&event);
    return node;
}

static void append(qx_node *parent, qx_node **last, qx_node *child)
{
    if (*last == NULL) {
        parent->first = child;
    } else {
        (*last)->next = child;
    }
    *last = child;
    parent->count++;
}

static void fill_list(builder *b, qx_node *list, size_t depth)
{
    qx_node *last = NULL;
    qx_node *child = NULL;
    while ((child = next_node(b, depth + 1)) != NULL) {
        append(list, &last, child);
    }
}

/* True if the entry may be used; a refused key is told. */
static bool key_fits(builder *b, qx_map *seen, const qx_node *key)
{
    if (key->kind != QX_NODE_SCALAR) {
        COMPLAIN(b, key->at, "expected a name", "a key is a list or holds keys itself");
        return false;
    }
    const size_t length = strlen(key->text);
    if (qx_map_find(seen, key->text, length) != QX_MAP_NONE) {
        char shown[QX_SHOWN_ROOM];
        COMPLAIN(b,
                 key->at,
                 "expected every key once",
                 "\"%s\" is given twice in the same part",
                 qx_shown(key->text, shown));
        return false;
    }
    if (qx_map_add(seen, key->text, length) == QX_MAP_NONE) {
        no_memory(b);
        return false;
    }
    return true;
}

static void fill_map(builder *b, qx_node *map, size_t depth)
{
    qx_map *seen = qx_map_new(qx_ctx_scratch(b->cx));
    if (seen == NULL) {
        no_memory(b);
        return;
    }
    qx_node *last = NULL;
    qx_node *key = NULL;
    while ((key = next_node(b, depth + 1)) != NULL) {
        qx_node *value = next_node(b, depth + 1);
        if (value == NULL) {
            return;
        }
        if (key_fits(b, seen, key)) {
            value->key = key->text;
            value->key_at = key->at;
            append(map, &last, value);
        }
    }
}

static qx_node *build(builder *b, const yaml_event_t *event, size_t depth)
{
    const qx_place at = place_of(event->start_mark);
    if (depth > QX_YAML_DEPTH) {
        b->stop = true;
        COMPLAIN(b,
                 at,
                 "expected at most eight levels",
                 "parts stand inside parts too deeply");
        return NULL;
    }
    refuse_marks(b, event);
    if (event->type == YAML_SCALAR_EVENT) {
        return scalar_node(b, event);
    }
    if (event->type == YAML_ALIAS_EVENT) {
        COMPLAIN(b,
                 at,
                 "expected the value itself; text that begins with * stands in quotes",
                 "aliases (*) are not part of a protocol");
        return new_node(b, QX_NODE_SCALAR, at);
    }
    const bool list = event->type == YAML_SEQUENCE_START_EVENT;
    qx_node *node = new_node(b, list ? QX_NODE_LIST : QX_NODE_MAP, at);
    if (node == NULL) {
        return NULL;
    }
    if (list) {
        fill_list(b, node, depth);
    } else {
        fill_map(b, node, depth);
    }
    return b->stop ? NULL : node;
}

/* After the first document nothing may come. */
static void refuse_more_documents(builder *b)
{
    yaml_event_t event;
    bool end = false;
    while (!end && next_event(b, &event)) {
        if (event.type == YAML_DOCUMENT_START_EVENT) {
            b->stop = true;
            COMPLAIN(b,
                     place_of(event.start_mark),
                     "expected one protocol in a file",
                     "a second document begins here");
        }
        end = event.type == YAML_STREAM_END_EVENT;
        yaml_event_delete(&event);
    }
}

static const qx_node *read_stream(builder *b)
{
    yaml_event_t event;
    const qx_node *root = NULL;
    bool end = false;
    while (!end && next_event(b, &event)) {
        if (event.type == YAML_DOCUMENT_START_EVENT) {
            root = next_node(b, 1);
            refuse_more_documents(b);
            end = true;
        } else {
            end = event.type == YAML_STREAM_END_EVENT;
        }
        yaml_event_delete(&event);
    }
    return b->stop ? NULL : root;
}

/* libyaml compares each %TAG line with all before it, so that a file of nothing else would
 * keep it busy for seconds; a protocol has no tags to shorten. */
static bool has_tag_lines(builder *b)
{
    static const char tag[] = "%TAG";
    const size_t n = sizeof tag - 1;
    yaml_mark_t mark = {0};
    for (size_t i = 0; i + n <= b->length; i++) {
        const bool start = i == 0 || b->bytes[i - 1] == '\n' || b->bytes[i - 1] == '\r';
        if (start && memcmp(b->bytes + i, tag, n) == 0) {
            COMPLAIN(
                b, place_of(mark), "expected no % lines", "a line begins with %%TAG");
            return true;
        }
        mark.line += b->bytes[i] == '\n' ? 1 : 0;
    }
    return false;
}

static qx_status build_tree(builder *b, const qx_node **root)
{
    if (has_tag_lines(b)) {
        return b->failed;
    }
    if (yaml_parser_initialize(&b->parser) == 0) {
        return qx_fail(b->cx, QX_E_NOMEM, "no memory for the protocol");
    }
    yaml_parser_set_encoding(&b->parser, YAML_UTF8_ENCODING);
    yaml_parser_set_input_string(&b->parser, (const unsigned char *)b->bytes, b->length);
    *root = read_stream(b);
    yaml_parser_delete(&b->parser);
    return b->failed;
}

qx_status qx_yaml_tree(qx_ctx *cx,
                       qx_arena *arena,
                       const char *file,
                       const char *bytes,
                       size_t length,
                       qx_problems *problems,
                       const qx_node **root)
{
    builder b = {.cx = cx,
                 .arena = arena,
                 .file = file,
                 .bytes = bytes,
                 .length = length,
                 .problems = problems};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, build_tree(&b, root));
    return status;
}

const qx_node *qx_node_find(const qx_node *map, const char *key)
{
    if (map == NULL || map->kind != QX_NODE_MAP) {
        return NULL;
    }
    for (const qx_node *child = map->first; child != NULL; child = child->next) {
        if (strcmp(child->key, key) == 0) {
            return child;
        }
    }
    return NULL;
}

bool qx_node_null(const qx_node *node)
{
    return node->kind == QX_NODE_SCALAR && node->plain &&
           (node->text[0] == '\0' || strcmp(node->text, "~") == 0 ||
            strcmp(node->text, "null") == 0 || strcmp(node->text, "Null") == 0 ||
            strcmp(node->text, "NULL") == 0);
}
