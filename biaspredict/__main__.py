"""python -m biaspredict"""

import sys

from biaspredict.cli import main

sys.exit(main())
