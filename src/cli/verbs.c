/* cli/verbs.c - the list of verbs and its help. */
#include <string.h>

#include "cli/flags.h"
#include "cli/verb.h"

static const qx_verb *const verbs[] = {
#define X(name) &qx_verb_##name,
#include "cli/verbs.def"
#undef X
};

/* Widest of the verbs and flags in the lists of help. */
#define HELP_WIDTH 15

size_t qx_verb_count(void)
{
    return QX_COUNT(verbs);
}

const qx_verb *qx_verb_get(size_t i)
{
    return i < QX_COUNT(verbs) ? verbs[i] : NULL;
}

const qx_verb *qx_verb_find(const char *name)
{
    for (size_t i = 0; i < QX_COUNT(verbs); i++) {
        if (strcmp(verbs[i]->name, name) == 0) {
            return verbs[i];
        }
    }
    return NULL;
}

const char *qx_verb_nearest(const char *name)
{
    const char *names[QX_COUNT(verbs)];
    for (size_t i = 0; i < QX_COUNT(verbs); i++) {
        names[i] = verbs[i]->name;
    }
    return qx_text_nearest(name, names, QX_COUNT(verbs));
}

static void add_flag(const qx_flag_word *word, qx_text *out)
{
    char left[64];
    size_t n = strlen(word->name);
    memcpy(left, word->name, n + 1);
    if (word->value != NULL) {
        left[n] = ' ';
        memcpy(left + n + 1, word->value, strlen(word->value) + 1);
    }
    qx_text_printf(out, "  %-*s  %s\n", HELP_WIDTH, left, word->about);
}

void qx_verb_help(const qx_verb *verb, qx_text *out)
{
    qx_text_printf(out, "quincunx %s %s\n\n%s", verb->name, verb->usage, verb->about);
    qx_text_add(out, "\nOptions\n");
    for (size_t i = 0; i < qx_flag_word_count(); i++) {
        const qx_flag_word *word = qx_flag_word_get(i);
        if (((verb->flags | QX_FLAG_HELP) & (unsigned)word->flag) != 0 &&
            word->name[1] == '-') {
            add_flag(word, out);
        }
    }
    qx_text_printf(out, "\nExample\n%s", verb->example);
}

void qx_verbs_help(qx_text *out)
{
    qx_text_add(out,
                "quincunx VERB [OPTIONS] FILES\n\n"
                "Replicated trials in orchards, from the protocol to the findings.\n\n"
                "Verbs\n");
    for (size_t i = 0; i < QX_COUNT(verbs); i++) {
        qx_text_printf(
            out, "  %-*s  %s\n", HELP_WIDTH, verbs[i]->name, verbs[i]->summary);
    }
    qx_text_add(
        out,
        "\nquincunx VERB --help tells more about each, with an example.\n"
        "quincunx --version prints the version.\n\n"
        "Results go to standard output, messages to standard error. Exit status:\n"
        "  0  done\n"
        "  1  the input has a problem: one line each, file:line:column: what; expected\n"
        "  2  the command line is wrong\n"
        "  3  the machine failed (disk, memory, permission); nothing half-written "
        "stays\n");
}
