"""Tables and schemes of the trade: lead on sale, numbers of windows, cautions."""
