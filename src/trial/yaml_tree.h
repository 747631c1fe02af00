/* trial/yaml_tree.h - YAML text to a small tree of nodes, each with its place.
 *
 * The only module that knows libyaml. A mapping's entries are its children; each has its
 * `key`. Refused with a place: aliases, anchors, tags, several documents, keys that are
 * not plain text, keys given twice, control characters, more than QX_YAML_DEPTH levels or
 * QX_YAML_NODES nodes (so that a small file cannot grow to a large one). */
#ifndef QX_TRIAL_YAML_TREE_H
#define QX_TRIAL_YAML_TREE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/ctx.h"
#include "base/problems.h"

#define QX_YAML_DEPTH ((size_t)8)
#define QX_YAML_NODES ((size_t)20000)

typedef enum { QX_NODE_SCALAR, QX_NODE_LIST, QX_NODE_MAP } qx_node_kind;

typedef struct qx_node {
    qx_node_kind kind;
    qx_place at;
    const char *text; /* scalar: its value, without NUL inside; else "" */
    bool plain;       /* scalar: written without quotes */
    const char *key;  /* entry of a mapping: its key, else NULL */
    qx_place key_at;
    size_t count;                /* list, map: children */
    const struct qx_node *first; /* list, map: first child */
    const struct qx_node *next;  /* next child of the same parent */
} qx_node;

/* Reads `length` bytes of UTF-8 (checked by the caller). *root, in `arena`, is NULL when
 * the file cannot be read as a tree or holds nothing; problems say why. A tree with
 * refused parts is given all the same, so that the rest can be checked. QX_E_NOMEM. */
qx_status qx_yaml_tree(qx_ctx *cx,
                       qx_arena *arena,
                       const char *file,
                       const char *bytes,
                       size_t length,
                       qx_problems *problems,
                       const qx_node **root);

/* Entry of a mapping, or NULL. */
const qx_node *qx_node_find(const qx_node *map, const char *key);

/* A plain scalar that means "nothing": empty, ~ or null. */
bool qx_node_null(const qx_node *node);

#endif
