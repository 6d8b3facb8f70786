"""What a page says after something was done, by a word in its address: nothing that a link could make up."""

DONE = {
    "decided": "Your decision is on record.",
    "ruled": "Your ruling is on record. The verdict below has it in already.",
    "called": "The call is on record.",
    "assessed": "All walls are assessed again; this is the new list.",
}
