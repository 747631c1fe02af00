# R's lines first, then quincunx's on one thread and on all: see bench/run-trials. Data: the
# same digits, 17 of them. p: half a unit of the sixth digit, where R found its optimum.
function median(side,    i, j, x, n) {
    n = count[side]
    for (i = 2; i <= n; i++) {
        x = times[side, i]
        for (j = i; j > 1 && times[side, j - 1] > x; j--) {
            times[side, j] = times[side, j - 1]
        }
        times[side, j] = x
    }
    return (times[side, int((n + 1) / 2)] + times[side, int((n + 2) / 2)]) / 2
}
FNR == 1 { side++ }
$1 == "time" { times[side, ++count[side]] = $3 }
$1 == "worse" { worse++ }
$1 == "y" && side == 1 { data[$2] = $3 }
$1 == "y" && side > 1 { rows++; if (data[$2] != $3) { other++ } }
$1 == "p" && side == 1 { expected[$2] = $3 }
$1 == "p" && side > 1 { found[side, $2] = $3 }
END {
    for (key in expected) {
        compared++
        gap = found[2, key] - expected[key]
        gap = gap < 0 ? -gap : gap
        if (!((2, key) in found) || gap > 5e-6 * expected[key]) {
            printf "differs: p of trial %s: R %s, quincunx %s\n", key, expected[key], found[2, key]
            differ++
        }
        if (found[2, key] != found[3, key]) {
            print "differs with the number of threads: trial " key
            differ++
        }
    }
    printf "%d values of data compared, %d differ in any bit; %d p compared (6 digits), ",
        rows, other, compared
    printf "%d differ; R has no optimum for %d more\n", differ, worse
    r = median(1) * 1000 / replicates
    one = median(2)
    all = median(3)
    printf "1,000 trials: R %.1f s (from %d); quincunx %.1f ms on one thread, %.1f ms on all; ",
        r, replicates, 1e3 * one, 1e3 * all
    printf "%.0f and %.0f times faster\n", r / one, r / all
    if (rows == 0 || other > 0 || compared == 0 || differ > 0) {
        exit 1
    }
    if (r / one < 500) {
        print "goal missed: 500 times faster on one thread"
        exit 1
    }
    print "goal met: 500 times faster on one thread, same data, same p"
}
