# R's lines first, then quincunx's on one thread and on all: see bench/run-shares. Data: the
# same digits. Numbers: half a unit of the sixth digit.
function median(side, what,    i, j, x, n) {
    n = count[side, what]
    for (i = 2; i <= n; i++) {
        x = times[side, what, i]
        for (j = i; j > 1 && times[side, what, j - 1] > x; j--) {
            times[side, what, j] = times[side, what, j - 1]
        }
        times[side, what, j] = x
    }
    return (times[side, what, int((n + 1) / 2)] + times[side, what, int((n + 2) / 2)]) / 2
}
function ratio_of(what, least, r, one, all,    met) {
    met = r / one >= least
    printf "%-9s R %.1f ms; quincunx %.3f ms on one thread", what, 1e3 * r, 1e3 * one
    if (all > 0) {
        printf ", %.3f ms on all", 1e3 * all
    }
    printf "; %.0f", r / one
    if (all > 0) {
        printf " and %.0f", r / all
    }
    printf " times faster: goal of %d on one thread %s\n", least, met ? "met" : "missed"
    return met
}
FNR == 1 { side++ }
$1 == "time" { times[side, $2, ++count[side, $2]] = $3 }
$1 == "y" && side == 1 { data[$2] = $3 }
$1 == "y" && side == 2 { rows++; if (data[$2] != $3) { other++ } }
($1 == "lrt" || $1 == "value") && side == 1 { expected[$1 " " $2] = $3 }
($1 == "lrt" || $1 == "value") && side > 1 { found[side, $1 " " $2] = $3 }
END {
    for (key in expected) {
        compared++
        gap = found[2, key] - expected[key]
        gap = gap < 0 ? -gap : gap
        size = expected[key] < 0 ? -expected[key] : expected[key]
        if (!((2, key) in found) || gap > 5e-6 * size) {
            printf "differs: %s: R %s, quincunx %s\n", key, expected[key], found[2, key]
            differ++
        }
        if ((3, key) in found && found[2, key] != found[3, key]) {
            print "differs with the number of threads: " key
            differ++
        }
    }
    printf "%d values of data compared, %d differ in any bit; %d numbers compared (6 digits), %d differ\n",
        rows, other, compared, differ
    good = ratio_of("fit", 100, median(1, "fit"), median(2, "fit"), 0)
    good = ratio_of("trials", 300, median(1, "trials") / replicates, median(2, "trials") / 1000,
        median(3, "trials") / 1000) && good
    good = ratio_of("bootstrap", 300, median(1, "bootstrap") / samples,
        median(2, "bootstrap") / 1000, median(3, "bootstrap") / 1000) && good
    if (rows == 0 || other > 0 || compared == 0 || differ > 0 || !good) {
        exit 1
    }
}
