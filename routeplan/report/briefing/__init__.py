"""The briefing pack: what people hold in their hands, as a page and on paper."""
