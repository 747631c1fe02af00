/* Who, what and where: people, crop, site, seasons. */
#include <string.h>

#include "trial/reading.h"

static void read_person_name(qx_reading *r, const qx_node *node, void *target)
{
    qx_person *person = target;
    person->name = qx_read_text(r, node);
}

static void read_person_role(qx_reading *r, const qx_node *node, void *target)
{
    qx_person *person = target;
    person->role = qx_read_text(r, node);
}

void qx_read_people(qx_reading *r, const qx_node *section)
{
    static const qx_key keys[] = {
        {"name", read_person_name, QX_KEY_MUST},
        {"role", read_person_role, QX_KEY_MAY},
    };
    enum { PEOPLE_MOST = 1000 };
    if (section == NULL) {
        return;
    }
    if (section->kind != QX_NODE_LIST || section->count > PEOPLE_MOST) {
        QX_COMPLAIN(r,
                    section->at,
                    "expected [{name: text, role: text}, ...], at most 1000 of them",
                    "\"people\" is not a list of people");
        return;
    }
    qx_person *people = qx_reading_new(r, section->count, sizeof *people);
    if (people == NULL) {
        return;
    }
    size_t count = 0;
    for (const qx_node *node = section->first; node != NULL; node = node->next) {
        people[count].name = people[count].role = "";
        qx_read_keys(r, node, "a person", QX_COUNT(keys), keys, &people[count]);
        count++;
    }
    r->p->person = people;
    r->p->person_count = count;
}

static void read_species(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->crop.species = qx_read_text(r, node);
}

static void read_cultivar(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->crop.cultivar = qx_read_text(r, node);
}

static void read_rootstock(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->crop.rootstock = qx_read_text(r, node);
}

static void read_planted(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->crop.planted = (int)qx_read_whole(r, node, 1700, 2200, 0);
}

void qx_read_crop(qx_reading *r, const qx_node *section)
{
    static const qx_key keys[] = {
        {"species", read_species, QX_KEY_BLANK},
        {"cultivar", read_cultivar, QX_KEY_BLANK},
        {"rootstock", read_rootstock, QX_KEY_BLANK},
        {"planted", read_planted, QX_KEY_BLANK},
    };
    if (section != NULL) {
        qx_read_keys(r, section, "the crop", QX_COUNT(keys), keys, NULL);
    }
}

static void read_site_name(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->site.name = qx_read_text(r, node);
}

static bool capital(char c)
{
    return c >= 'A' && c <= 'Z';
}

static void read_country(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    const char *code = qx_read_text(r, node);
    r->p->site.country = code;
    if (node->kind == QX_NODE_SCALAR &&
        !(strlen(code) == 2 && capital(code[0]) && capital(code[1]))) {
        char shown[QX_SHOWN_ROOM];
        QX_COMPLAIN(r,
                    node->at,
                    "expected two capital letters of ISO 3166, such as CH",
                    "country \"%s\" is not a country code",
                    qx_shown(code, shown));
    }
}

static void read_latitude(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->site.latitude =
        qx_read_number(r, node, -90, 90, "expected degrees from -90 to 90");
}

static void read_longitude(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->site.longitude =
        qx_read_number(r, node, -180, 180, "expected degrees from -180 to 180");
}

/* Closer than this no two trees stand; farther apart it is no orchard. */
#define SPACING_LEAST_M 0.05
#define SPACING_MOST_M  100.0

static void read_row_spacing(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->site.row_spacing_m = qx_read_number(
        r, node, SPACING_LEAST_M, SPACING_MOST_M, "expected metres from 0.05 to 100");
}

static void read_tree_spacing(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->site.tree_spacing_m = qx_read_number(
        r, node, SPACING_LEAST_M, SPACING_MOST_M, "expected metres from 0.05 to 100");
}

/* Which way places are counted: the map needs it to show where north is. */
static void read_row_bearing(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->site.row_bearing = qx_read_number(
        r, node, 0.0, 360.0, "expected degrees from north, clockwise, 0 to 360");
}

void qx_read_site(qx_reading *r, const qx_node *section)
{
    static const qx_key keys[] = {
        {"name", read_site_name, QX_KEY_BLANK},
        {"country", read_country, QX_KEY_BLANK},
        {"latitude", read_latitude, QX_KEY_BLANK},
        {"longitude", read_longitude, QX_KEY_BLANK},
        {"row_spacing_m", read_row_spacing, QX_KEY_BLANK},
        {"tree_spacing_m", read_tree_spacing, QX_KEY_BLANK},
        {"row_bearing", read_row_bearing, QX_KEY_BLANK},
    };
    if (section != NULL) {
        qx_read_keys(r, section, "the site", QX_COUNT(keys), keys, NULL);
    }
}

static void read_season_column(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->seasons.column = qx_read_text(r, node);
    qx_reading_check_name(r, node->at, r->p->seasons.column);
}

static void read_season_levels(qx_reading *r, const qx_node *node, void *target)
{
    (void)target;
    r->p->seasons.level = qx_read_levels(r, node, 1, &r->p->seasons.level_count);
}

void qx_read_seasons(qx_reading *r, const qx_node *section)
{
    static const qx_key keys[] = {
        {"column", read_season_column, QX_KEY_MAY},
        {"levels", read_season_levels, QX_KEY_MUST},
    };
    r->seasons_node = section;
    if (section == NULL) {
        return;
    }
    if (section->kind == QX_NODE_MAP) {
        qx_read_keys(r, section, "the seasons", QX_COUNT(keys), keys, NULL);
    } else if (section->kind == QX_NODE_LIST) {
        read_season_levels(r, section, NULL);
    } else {
        QX_COMPLAIN(r,
                    section->at,
                    "expected [2025, 2026] or {column: year, levels: [2025, 2026]}",
                    "\"seasons\" is a single value");
    }
}
