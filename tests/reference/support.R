# SPDX-License-Identifier: GPL-3.0-or-later
# Shared by the comparisons with R: a test asks the harness for numbers and says what R makes of the
# same question. Everything asked is collected, the harness runs once, differences are printed.
asked <- character()
wanted <- list()
names_of <- character()
tolerances <- numeric()
absolutes <- numeric()

text_of <- function(x) paste(sprintf("%.17g", x), collapse = " ")
data_line <- function(x) asked <<- c(asked, paste("data", text_of(x)))
limits_line <- function(target, lsl, usl)
  asked <<- c(asked, paste("limits", paste(ifelse(is.na(c(target, lsl, usl)), "nan",
              sprintf("%.17g", c(target, lsl, usl))), collapse = " ")))

# One command; `values`: what R finds for the numbers of its answer (NA: not compared).
compare <- function(command, values, relative = 1e-8, absolute = 0, name = command) {
  asked <<- c(asked, command)
  wanted[[length(wanted) + 1]] <<- values
  names_of <<- c(names_of, name)
  tolerances <<- c(tolerances, relative)
  absolutes <<- c(absolutes, absolute)
}

# A line that ends the test. At least `least` numbers must have been compared.
finish <- function(least) {
  harness <- Sys.getenv("AN_REFERENCE_HARNESS")
  if (harness == "") stop("AN_REFERENCE_HARNESS does not name the built harness")
  answers <- system2(harness, input = asked, stdout = TRUE)
  if (length(answers) != length(wanted))
    stop(length(answers), " answers to ", length(wanted), " questions")
  compared <- 0; failed <- 0; worst <- 0; notes <- character()
  for (i in seq_along(wanted)) {
    if (startsWith(answers[i], "status")) {
      cat(names_of[i], ": ", answers[i], "\n", sep = "")
      failed <- failed + 1
      next
    }
    got <- as.numeric(strsplit(answers[i], " ")[[1]])
    want <- wanted[[i]]
    if (length(got) != length(want)) {
      cat(names_of[i], ": ", length(got), " numbers, ", length(want), " wanted\n", sep = "")
      failed <- failed + 1
      next
    }
    for (k in which(!is.na(want))) {
      off <- abs(got[k] - want[k])
      share <- if (want[k] == 0) off else off / abs(want[k])
      compared <- compared + 1
      notes <- c(notes, sprintf("R\t%s\t%.17g\t%.17g", strsplit(names_of[i], "[ :,]")[[1]][1],
                                if (off <= absolutes[i]) 0 else share,
                                tolerances[i]))
      if (!is.finite(got[k]) || (share > tolerances[i] && off > absolutes[i])) {
        cat(sprintf("%s, number %d: got %.17g, R has %.17g (relative difference %.2g)\n",
                    names_of[i], k, got[k], want[k], share))
        failed <- failed + 1
      } else if (off > absolutes[i]) worst <- max(worst, share / tolerances[i])
    }
  }
  cat(sprintf("%d numbers compared with R %s.%s, %d differ; the worst agreement used %.2g of its bound\n",
              compared, R.version$major, R.version$minor, failed, worst))
  if (Sys.getenv("AN_CHECKS") != "") write(notes, Sys.getenv("AN_CHECKS"), append = TRUE)
  if (compared < least) stop("only ", compared, " of ", least, " comparisons were made")
  quit(status = if (failed) 1 else 0)
}
