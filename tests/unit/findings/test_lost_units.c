/* Units of the layout without a row are told by name. */
#include "trial.h"

#include "layout/layout.h"
#include "trial/structure.h"

static const char protocol[] = "quincunx: 1\ntitle: Lost\nunits:\n  block: {count: 3}\n"
                               "  tree: {within: block, count: 2}\n"
                               "treatments:\n  cut: {levels: [none, short], on: tree}\n"
                               "measure:\n  mass: {kind: continuous, on: tree}\n";

/* Analyses data of all trees but the first `lost` ones; the caller closes. */
static void open_without(trial *t, qx_layout **layout, size_t lost)
{
    qx_layout_spec spec;
    static char data[600];
    size_t n = (size_t)snprintf(data, sizeof data, "block,tree,cut,mass\n"), seen = 0;
    *t = (trial){.cx = qx_ctx_new(), .arena = qx_arena_new()};
    qx_problems *problems = qx_problems_new(t->arena);
    assert_int_equal(
        qx_protocol_parse(
            t->cx, "p.yaml", protocol, strlen(protocol), problems, &t->protocol),
        QX_OK);
    assert_int_equal(qx_structure_of(t->cx, t->arena, t->protocol, &spec), QX_OK);
    assert_int_equal(qx_layout_make(t->cx, &spec, 3, layout), QX_OK);
    const qx_layout *l = *layout;
    for (size_t i = 0; i < l->placed_count; i++) {
        if (l->placed[i].unit != 1 || seen++ < lost) {
            continue;
        }
        n += (size_t)snprintf(data + n,
                              sizeof data - n,
                              "%s,%s,%s,%zu.5\n",
                              l->placed[l->placed[i].parent[0]].label,
                              l->placed[i].label,
                              l->level[i] == 0 ? "none" : "short",
                              i * i % 7);
    }
    assert_int_equal(qx_data_parse(t->cx,
                                   t->protocol,
                                   "d.csv",
                                   data,
                                   strlen(data),
                                   false,
                                   problems,
                                   &t->table,
                                   NULL),
                     QX_OK);
    qx_ctx_clear(t->cx);
    assert_int_equal(qx_analyse(t->cx, t->protocol, t->table, l, &t->findings), QX_OK);
}

static void lost_trees_are_named(void **state)
{
    (void)state;
    trial t;
    qx_layout *layout;
    open_without(&t, &layout, 1);
    assert_true(has_note(&t.findings->result[0],
                         "The layout has 6 of the unit tree; 1 of them has no value of "
                         "mass: tree 1 of block 1."));
    trial_close(&t);
    qx_layout_free(layout);
}

static void whole_trials_have_no_such_note(void **state)
{
    (void)state;
    trial t;
    qx_layout *layout;
    open_without(&t, &layout, 0);
    assert_false(has_note(&t.findings->result[0], "no value of"));
    trial_close(&t);
    qx_layout_free(layout);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lost_trees_are_named),
        cmocka_unit_test(whole_trials_have_no_such_note),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
