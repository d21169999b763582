"""One BLAS thread, as in the program: it is set when the package is loaded, and must be before numpy is."""

import tapewright  # noqa: F401
