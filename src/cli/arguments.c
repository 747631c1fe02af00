/* cli/arguments.c - the command line of one verb, word by word. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/decimal.h"
#include "cli/flags.h"
#include "cli/verb.h"
#include "tasks/load.h"

static const qx_flag_word words[] = {
    {"--accept-good", QX_FLAG_ACCEPT_GOOD, NULL, "store the good rows, list the others"},
    {"--as-done", QX_FLAG_DONE, "DONE.csv", "what was done otherwise than drawn"},
    {"--by", QX_FLAG_BY, "NAME", "who does it (else the name you are logged in with)"},
    {"--from",
     QX_FLAG_FROM,
     "FILE.qx",
     "an earlier trial whose variation is planned with"},
    {"--help", QX_FLAG_HELP, NULL, "this text"},
    {"--json", QX_FLAG_JSON, NULL, "the result as one JSON document"},
    {"--output", QX_FLAG_OUT, "PATH", "where to write (short: -o PATH)"},
    {"--path",
     QX_FLAG_PATH,
     "auto|dense|sparse",
     "how the random part is computed; all give the same: a check of the arithmetic"},
    {"--pictures", QX_FLAG_PICTURES, "FOLDER", "where to draw the map and the blocks"},
    {"--power", QX_FLAG_POWER, "P", "wanted power, such as 0.8"},
    {"--reach", QX_FLAG_REACH, "M", "greatest distance inside a block of trees, metres"},
    {"--reason", QX_FLAG_REASON, "TEXT", "why values or the layout are corrected"},
    {"--seed", QX_FLAG_SEED, "N", "number that the drawing starts from"},
    {"--simulate", QX_FLAG_SIMULATE, "N", "trials to simulate and analyse"},
    {"--trees", QX_FLAG_TREES, "TREES.csv", "list of the trees (CSV or spreadsheet)"},
    {"-h", QX_FLAG_HELP, NULL, "this text"},
    {"-o", QX_FLAG_OUT, "PATH", "where to write"},
};

size_t qx_flag_word_count(void)
{
    return QX_COUNT(words);
}

const qx_flag_word *qx_flag_word_get(size_t i)
{
    return i < QX_COUNT(words) ? &words[i] : NULL;
}

/* The word that `argument` is, up to a "=". NULL if none of the verb's. */
static const qx_flag_word *find_word(const qx_call *call, const char *argument)
{
    const size_t length = strcspn(argument, "=");
    for (size_t i = 0; i < QX_COUNT(words); i++) {
        const bool known =
            ((call->verb->flags | QX_FLAG_HELP) & (unsigned)words[i].flag) != 0;
        if (known && strlen(words[i].name) == length &&
            strncmp(words[i].name, argument, length) == 0) {
            return &words[i];
        }
    }
    return NULL;
}

static qx_status unknown(const qx_call *call, const char *argument)
{
    const char *names[QX_COUNT(words)];
    size_t count = 0;
    for (size_t i = 0; i < QX_COUNT(words); i++) {
        if (((call->verb->flags | QX_FLAG_HELP) & (unsigned)words[i].flag) != 0) {
            names[count++] = words[i].name;
        }
    }
    const char *nearest = qx_text_nearest(argument, names, count);
    return qx_fail(call->cx,
                   QX_E_USAGE,
                   "%s has no option \"%s\"%s%s",
                   call->verb->name,
                   argument,
                   nearest == NULL ? "" : "; the nearest is ",
                   nearest == NULL ? "" : nearest);
}

static qx_status take_seed(qx_call *call, const char *value)
{
    char *end = NULL;
    errno = 0;
    const unsigned long long seed = strtoull(value, &end, 10);
    if (value[0] < '0' || value[0] > '9' || *end != '\0' || errno != 0) {
        return qx_fail(call->cx,
                       QX_E_USAGE,
                       "--seed \"%s\" is not a whole number from 0 to "
                       "18446744073709551615",
                       value);
    }
    call->seed = seed;
    return QX_OK;
}

static qx_status take_power(qx_call *call, const char *value)
{
    double power;
    if (!qx_decimal_read(value, strlen(value), '.', &power, NULL) || !(power > 0.5) ||
        !(power < 1.0)) {
        return qx_fail(call->cx,
                       QX_E_USAGE,
                       "--power \"%s\" cannot be planned for; expected more than 0.5 and "
                       "less than 1, such as 0.8",
                       value);
    }
    call->power = power;
    return QX_OK;
}

static qx_status take_reach(qx_call *call, const char *value)
{
    double reach;
    if (!qx_decimal_read(value, strlen(value), '.', &reach, NULL) || !(reach > 0.0)) {
        return qx_fail(call->cx,
                       QX_E_USAGE,
                       "--reach \"%s\" is not a number of metres above 0",
                       value);
    }
    call->reach_m = reach;
    return QX_OK;
}

static qx_status take_simulate(qx_call *call, const char *value)
{
    char *end = NULL;
    errno = 0;
    const unsigned long count = strtoul(value, &end, 10);
    if (value[0] < '0' || value[0] > '9' || *end != '\0' || errno != 0 || count < 1 ||
        count > 10000000) {
        return qx_fail(call->cx,
                       QX_E_USAGE,
                       "--simulate \"%s\" is not a whole number from 1 to 10000000",
                       value);
    }
    call->simulate = count;
    return QX_OK;
}

static qx_status take_path(qx_call *call, const char *value)
{
    static const char *const known[] = {"auto", "dense", "sparse"};
    static const qx_arithmetic meant[] = {
        QX_ARITHMETIC_AUTO, QX_ARITHMETIC_DENSE, QX_ARITHMETIC_SPARSE};
    for (size_t i = 0; i < QX_COUNT(known); i++) {
        if (strcmp(value, known[i]) == 0) {
            call->arithmetic = meant[i];
            return QX_OK;
        }
    }
    return qx_fail(call->cx,
                   QX_E_USAGE,
                   "--path \"%s\" is not known; expected auto, dense or sparse",
                   value);
}

static qx_status take_value(qx_call *call, const qx_flag_word *word, const char *value)
{
    if (value[0] == '\0' && word->flag != QX_FLAG_REASON) {
        return qx_fail(call->cx, QX_E_USAGE, "%s is empty", word->name);
    }
    if (!qx_utf8_valid(value, strlen(value), NULL) && word->flag != QX_FLAG_OUT) {
        return qx_fail(call->cx, QX_E_USAGE, "%s is not UTF-8 text", word->name);
    }
    if (word->flag == QX_FLAG_SEED) {
        return take_seed(call, value);
    }
    if (word->flag == QX_FLAG_POWER) {
        return take_power(call, value);
    }
    if (word->flag == QX_FLAG_REACH) {
        return take_reach(call, value);
    }
    if (word->flag == QX_FLAG_SIMULATE) {
        return take_simulate(call, value);
    }
    if (word->flag == QX_FLAG_PATH) {
        return take_path(call, value);
    }
    if (word->flag == QX_FLAG_OUT) {
        call->out = value;
    } else if (word->flag == QX_FLAG_FROM) {
        call->from = value;
    } else if (word->flag == QX_FLAG_PICTURES) {
        call->pictures = value;
    } else if (word->flag == QX_FLAG_DONE) {
        call->done = value;
    } else if (word->flag == QX_FLAG_TREES) {
        call->trees = value;
    } else if (word->flag == QX_FLAG_BY) {
        call->by = value;
    } else {
        call->reason = value;
    }
    return QX_OK;
}

/* One option; *i is left at the last argument that it used. */
static qx_status
take_option(qx_call *call, int count, const char *const argument[], int *i)
{
    const qx_flag_word *word = find_word(call, argument[*i]);
    if (word == NULL) {
        return unknown(call, argument[*i]);
    }
    const char *equals = strchr(argument[*i], '=');
    call->flags |= (unsigned)word->flag;
    if (word->value == NULL) {
        return equals == NULL ? QX_OK
                              : qx_fail(call->cx,
                                        QX_E_USAGE,
                                        "%s stands alone, without a value",
                                        word->name);
    }
    if (equals != NULL) {
        return take_value(call, word, equals + 1);
    }
    if (*i + 1 >= count) {
        return qx_fail(
            call->cx, QX_E_USAGE, "%s needs a value: %s", word->name, word->value);
    }
    (*i)++;
    return take_value(call, word, argument[*i]);
}

static qx_status check_counts(const qx_call *call)
{
    const qx_verb *verb = call->verb;
    for (size_t i = 0; i < QX_COUNT(words); i++) {
        const unsigned flag = (unsigned)words[i].flag;
        if ((verb->needed & flag) != 0 && (call->flags & flag) == 0) {
            return qx_fail(call->cx,
                           QX_E_USAGE,
                           "%s needs %s %s",
                           verb->name,
                           words[i].name,
                           words[i].value == NULL ? "" : words[i].value);
        }
    }
    if (call->file_count < verb->files_least) {
        return qx_fail(
            call->cx, QX_E_USAGE, "%s needs more: %s", verb->name, verb->usage);
    }
    if (call->file_count > verb->files_most) {
        return qx_fail(call->cx,
                       QX_E_USAGE,
                       "%s does not know what to do with \"%s\"; expected %s",
                       verb->name,
                       call->file[verb->files_most],
                       verb->usage);
    }
    return QX_OK;
}

qx_status qx_call_parse(qx_call *call, int count, const char *const argument[])
{
    const char **file = NULL;
    bool options = true;
    QX_NEW_IN(call->cx, call->arena, file, (size_t)count + 1);
    call->file = file;
    for (int i = 0; i < count; i++) {
        if (options && strcmp(argument[i], "--") == 0) {
            options = false;
        } else if (options && argument[i][0] == '-' && argument[i][1] != '\0') {
            QX_TRY(take_option(call, count, argument, &i));
        } else {
            file[call->file_count++] = argument[i];
        }
    }
    return qx_call_has(call, QX_FLAG_HELP) ? QX_OK : check_counts(call);
}

qx_status qx_call_data(const qx_call *call, const char **data)
{
    const bool trial = qx_is_trial_file(call->file[0]);
    if (trial && call->file_count > 1) {
        return qx_fail(
            call->cx,
            QX_E_USAGE,
            "a trial file holds its data: expected %s FILE.qx (record brings new "
            "data)",
            call->verb->name);
    }
    if (!trial && call->file_count < 2) {
        return qx_fail(call->cx,
                       QX_E_USAGE,
                       "%s needs its data: expected %s",
                       call->verb->name,
                       call->verb->usage);
    }
    *data = trial ? NULL : call->file[1];
    return QX_OK;
}
