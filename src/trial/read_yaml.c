#include "trial/read_yaml.h"

#include <math.h>
#include <string.h>

#include "base/digest.h"
#include "base/file.h"
#include "trial/encoding.h"
#include "trial/protocol.h"
#include "trial/reading.h"

static void read_version(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    if (node->kind != QX_NODE_SCALAR || strcmp(node->text, "1") != 0) {
        char shown[QX_SHOWN_ROOM];
        QX_COMPLAIN(r,
                    node->at,
                    "expected quincunx: 1",
                    "version \"%s\" of the protocol format is not known",
                    qx_shown(node->text, shown));
    }
}

static void read_title(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->title = qx_read_text(r, node);
}

static void read_question(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->question = qx_read_text(r, node);
}

static void read_institution(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->institution = qx_read_text(r, node);
}

/* Sections are read by read_sections, in an order of their own. */
static void read_later(qx_reading *r, const qx_node *node, void *target)
{
    (void)r;
    (void)node;
    (void)target;
}

static const qx_key top_keys[] = {
    {"quincunx", read_version, QX_KEY_MUST},
    {"title", read_title, QX_KEY_BLANK},
    {"question", read_question, QX_KEY_BLANK},
    {"institution", read_institution, QX_KEY_BLANK},
    {"people", read_later, QX_KEY_BLANK},
    {"crop", read_later, QX_KEY_BLANK},
    {"site", read_later, QX_KEY_BLANK},
    {"seasons", read_later, QX_KEY_BLANK},
    {"units", read_later, QX_KEY_MUST},
    {"treatments", read_later, QX_KEY_BLANK},
    {"covariates", read_later, QX_KEY_BLANK},
    {"measure", read_later, QX_KEY_MUST},
    {"contrasts", read_later, QX_KEY_BLANK},
    {"analysis", read_later, QX_KEY_BLANK},
    {"layout", read_later, QX_KEY_BLANK},
    {"planning", read_later, QX_KEY_BLANK},
};

static void set_defaults(qx_protocol *p)
{
    p->title = p->question = p->institution = "";
    p->crop.species = p->crop.cultivar = p->crop.rootstock = "";
    p->site.name = p->site.country = "";
    p->site.latitude = p->site.longitude = (double)NAN;
    p->site.row_spacing_m = p->site.tree_spacing_m = (double)NAN;
    p->site.row_bearing = (double)NAN;
    p->seasons.column = "season";
    p->analysis.df = QX_DF_KENWARD_ROGER;
    p->analysis.compare = QX_COMPARE_TUKEY;
    p->analysis.sums = QX_SUMS_MARGINAL;
    p->analysis.interactions = QX_INTERACT_ALL;
    p->analysis.quadrature = 1;
    p->analysis.looks = 1;
    p->analysis.level = 0.95;
}

/* A section that was begun and left empty ("treatments:") is as if it were not there. */
static const qx_node *section_of(const qx_node *root, const char *key)
{
    const qx_node *section = qx_node_find(root, key);
    return section != NULL && qx_node_null(section) ? NULL : section;
}

static void read_sections(qx_reading *r, const qx_node *root)
{
    qx_read_people(r, section_of(root, "people"));
    qx_read_crop(r, section_of(root, "crop"));
    qx_read_site(r, section_of(root, "site"));
    qx_read_units(r, section_of(root, "units"));
    qx_read_treatments(r, section_of(root, "treatments"));
    qx_read_covariates(r, section_of(root, "covariates"));
    qx_read_seasons(r, section_of(root, "seasons"));
    qx_read_measure(r, section_of(root, "measure"));
    qx_read_contrasts(r, section_of(root, "contrasts"));
    qx_read_analysis(r, section_of(root, "analysis"));
    qx_read_layout(r, section_of(root, "layout"));
    qx_read_planning(r, section_of(root, "planning"));
}

static qx_status start_protocol(
    qx_ctx *cx, const char *file, const char *bytes, size_t length, qx_protocol **out)
{
    qx_arena *arena = qx_arena_new();
    if (arena == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the protocol");
    }
    qx_protocol *p = qx_arena_alloc(arena, 1, sizeof *p);
    const char *name = qx_arena_copy(arena, file);
    const char *text = qx_arena_text(arena, bytes, length);
    if (p == NULL || name == NULL || text == NULL) {
        qx_arena_free(arena);
        return qx_fail(cx, QX_E_NOMEM, "no memory for the protocol");
    }
    p->arena = arena;
    p->file = name;
    p->text = text;
    p->text_length = length;
    qx_digest(bytes, length, p->digest);
    set_defaults(p);
    *out = p;
    return QX_OK;
}

/* Reads the tree of the text into r->p. */
static qx_status fill(qx_reading *r, const char *bytes, size_t length)
{
    const qx_node *root = NULL;
    const size_t before = qx_problems_count(r->problems);
    QX_TRY(qx_yaml_tree(r->cx, r->arena, r->file, bytes, length, r->problems, &root));
    const qx_place top = {.line = 1, .column = 1};
    if (root == NULL || qx_node_null(root)) {
        if (qx_problems_count(r->problems) == before) {
            QX_COMPLAIN(r,
                        top,
                        "expected a protocol; \"quincunx new FILE.yaml\" writes one to "
                        "fill in",
                        "the file holds no protocol");
        }
        return r->failed;
    }
    qx_read_keys(r, root, "the protocol", QX_COUNT(top_keys), top_keys, NULL);
    if (root->kind == QX_NODE_MAP) {
        read_sections(r, root);
        qx_protocol_check(r);
    }
    return r->failed;
}

static qx_status check_text(qx_ctx *cx,
                            const char *file,
                            const char *bytes,
                            size_t length,
                            qx_problems *problems,
                            size_t *start)
{
    qx_status failed = QX_OK;
    if (length > QX_PROTOCOL_BYTES_MOST) {
        const qx_place top = {.line = 1, .column = 1};
        QX_TRY(qx_problem_add(problems,
                              file,
                              top,
                              "expected a protocol of at most 1 MiB",
                              "the file is too large: %zu bytes",
                              length));
        return qx_fail(cx, QX_E_INPUT, "%s is too large for a protocol", file);
    }
    const bool text = qx_encoding_check(problems,
                                        file,
                                        bytes,
                                        length,
                                        "expected a protocol; \"quincunx new FILE.yaml\" "
                                        "writes one to fill in",
                                        start,
                                        &failed);
    if (failed != QX_OK) {
        return qx_fail(cx, failed, "no memory for a message");
    }
    return text ? QX_OK : qx_fail(cx, QX_E_INPUT, "%s is not a protocol", file);
}

static qx_status parse(qx_ctx *cx,
                       const char *file,
                       const char *bytes,
                       size_t length,
                       qx_problems *problems,
                       qx_protocol **out)
{
    size_t start = 0;
    QX_TRY(check_text(cx, file, bytes, length, problems, &start));
    qx_protocol *p = NULL;
    QX_TRY(start_protocol(cx, file, bytes, length, &p));
    const size_t before = qx_problems_count(problems);
    qx_reading *r = NULL;
    qx_status status = QX_E_NOMEM;
    r = qx_arena_alloc(qx_ctx_scratch(cx), 1, sizeof *r);
    if (r != NULL) {
        r->cx = cx;
        r->arena = p->arena;
        r->problems = problems;
        r->file = p->file;
        r->p = p;
        status = fill(r, bytes + start, length - start);
    }
    if (status == QX_OK && qx_problems_count(problems) > before) {
        qx_problems_sort(problems);
        status = QX_E_INPUT;
    }
    if (status != QX_OK) {
        qx_protocol_free(p);
        return qx_fail(cx, status, "the protocol %s could not be read", file);
    }
    *out = p;
    return QX_OK;
}

qx_status qx_protocol_parse(qx_ctx *cx,
                            const char *file,
                            const char *bytes,
                            size_t length,
                            qx_problems *problems,
                            qx_protocol **out)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, parse(cx, file, bytes, length, problems, out));
    return status;
}

static qx_status
read_and_parse(qx_ctx *cx, const char *path, qx_problems *problems, qx_protocol **out)
{
    qx_bytes text = {0};
    QX_TRY(qx_file_read(cx, qx_ctx_scratch(cx), path, QX_PROTOCOL_BYTES_MOST, &text));
    return parse(cx, path, text.bytes, text.length, problems, out);
}

qx_status
qx_protocol_read(qx_ctx *cx, const char *path, qx_problems *problems, qx_protocol **out)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, read_and_parse(cx, path, problems, out));
    return status;
}
